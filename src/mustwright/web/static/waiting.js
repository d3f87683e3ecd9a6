// Entries typed where no network reached the cellar: kept on this device until they are sent.
// Used by the pages and by the service worker alike.
"use strict";
const waiting = (() => {
  const ENTRY = /^\/batches\/([a-z0-9-]+)\/(reading|feed|event|note|photos)$/;
  const TWICE = 2 * 60 * 1000; // ms in which the same form sent again is one entry
  const REMEMBERED = 40 * 24 * 3600 * 1000; // ms for which ids that were sent are remembered
  const HIDDEN = ["id", "at", "stamped", "plan", "unit", "volume_unit", "calibration", "instrument",
    "ph_by", "form_token", "do", "feed"];
  const names = (say) => ({ gravity: say("gravity"), temperature: say("temperature"), ph: "pH",
    sample: say("sample at"), text: "", note: "", what: "", caption: "", photo: say("picture") });
  const kinds = (say) => ({ reading: say("Reading"), feed: say("Feed"), event: say("Event"),
    note: say("Note"), photos: say("Photo") });

  const opened = () => new Promise((done, failed) => {
    const asked = indexedDB.open("mustwright", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("entries", { keyPath: "id" });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });

  const with_store = async (mode, use) => {
    const base = await opened();
    try {
      return await new Promise((done, failed) => {
        const change = base.transaction("entries", mode);
        const asked = use(change.objectStore("entries"));
        change.oncomplete = () => done(asked?.result);
        change.onerror = change.onabort = () => failed(change.error);
      });
    } finally {
      base.close();
    }
  };

  const every = () => with_store("readonly", (store) => store.getAll());
  const put = (entry) => with_store("readwrite", (store) => store.put(entry));
  const remove = (id) => with_store("readwrite", (store) => store.delete(id));

  const new_id = () => Array.from(crypto.getRandomValues(new Uint8Array(16)),
    (byte) => byte.toString(16).padStart(2, "0")).join("");

  // The moment as the cellar reads it: local time with its offset.
  const stamp = (ms) => {
    const moment = new Date(ms), two = (number) => String(Math.abs(number)).padStart(2, "0");
    const offset = -moment.getTimezoneOffset();
    const local = new Date(ms + offset * 60000).toISOString().slice(0, 19);
    return `${local}${offset < 0 ? "-" : "+"}${two(Math.trunc(offset / 60))}:${two(offset % 60)}`;
  };

  const same = (a, b) => a.path === b.path && JSON.stringify(a.fields) === JSON.stringify(b.fields);

  // Keep an entry. The id of its form stays, so that one that did arrive is not written again;
  // an id that was used for something else, or was sent, gives way to a new one.
  const keep = async (path, pairs) => {
    const fields = [...pairs].filter(([name]) => !["id", "form_token"].includes(name));
    const typed = [...pairs].find(([name]) => name === "id")?.[1];
    const entry = { id: typed || new_id(), path, fields, at: Date.now(), state: "waiting", why: "" };
    const known = await every();
    const twin = known.find((one) => one.state === "waiting" && same(one, entry)
      && entry.at - one.at < TWICE);
    if (twin) return twin;
    if (known.some((one) => one.id === entry.id)) entry.id = new_id();
    await put(entry);
    return entry;
  };

  const unsent = async () => (await every()).filter((one) => one.state !== "sent")
    .sort((a, b) => a.at - b.at);

  const told = (entry, say) => {
    const [, , kind] = ENTRY.exec(entry.path), named = names(say);
    const said = entry.fields.filter(([name, value]) => value && !HIDDEN.includes(name))
      .map(([name, value]) => name.startsWith("grams-") ? `${name.slice(6).replaceAll("_", " ")} ${value} g`
        : `${named[name] ?? name} ${value.name ?? value}`.trim().replaceAll("_", " "));
    const how = entry.fields.find(([name]) => name === "do")?.[1];
    if (how === "as planned") said.unshift(say("given as planned"));
    if (how === "skip") said.unshift(say("skipped"));
    return `${kinds(say)[kind]}${said.length ? ": " : ""}${said.join(", ")}`;
  };

  const body_of = (entry) => {
    const form = entry.path.endsWith("/photos") ? new FormData() : new URLSearchParams();
    const typed = entry.fields.find(([name]) => name === "at")?.[1];
    form.append("id", entry.id);
    for (const [name, value] of entry.fields) if (name !== "at") form.append(name, value);
    form.append("at", typed || stamp(entry.at));
    if (!typed) form.append("stamped", "1");
    return form;
  };

  // Send one entry: "sent", "refused" (the cellar says why), "stranger" (sign in first) or "away".
  const send = async (entry, token) => {
    let answer;
    try {
      answer = await fetch(entry.path, { method: "POST", body: body_of(entry), redirect: "manual",
        headers: { Accept: "application/json", "X-Form-Token": token } });
    } catch {
      return "away";
    }
    if (answer.type === "opaqueredirect") {
      await put({ id: entry.id, path: entry.path, fields: [], at: Date.now(), state: "sent" });
      return "sent";
    }
    if (answer.status === 401 || answer.status === 403) return "stranger";
    if (answer.status >= 500 || answer.status === 408 || answer.status === 429) return "away";
    const said = await answer.json().catch(() => null);
    await put({ ...entry, state: "refused", why: said?.error?.message ?? `HTTP ${answer.status}` });
    return "refused";
  };

  // Send everything that waits, the oldest first; what became of it, by word.
  const send_all = async () => {
    const done = { sent: 0, refused: 0, stranger: 0, away: 0, paths: [] };
    const known = await every();
    const old = Date.now() - REMEMBERED;
    for (const one of known) if (one.state === "sent" && one.at < old) await remove(one.id);
    const open = known.filter((one) => one.state === "waiting").sort((a, b) => a.at - b.at);
    if (!open.length) return done;
    let token = "";
    try {
      const answer = await fetch("/api/pulse", { cache: "no-store" });
      if (answer.status === 401) return { ...done, stranger: open.length };
      if (!answer.ok) return { ...done, away: open.length };
      token = (await answer.json()).form_token;
    } catch {
      return { ...done, away: open.length };
    }
    for (const entry of open) {
      const became = await send(entry, token);
      done[became] += 1;
      if (became === "sent") done.paths.push(entry.path);
      if (became === "away" || became === "stranger") break;
    }
    return done;
  };

  return { ENTRY, every, keep, put, remove, send_all, stamp, unsent, words: told };
})();
