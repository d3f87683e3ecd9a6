// Keeps a half-filled form on this device until it was sent: Back, a refusal or a fallen connection
// lose nothing. Never a passphrase, never a file. Without this file the browser's own memory serves.
"use strict";
(() => {
  const say = wordings.here;
  const PREFIX = "typed ", SENDING = "typed, being sent";
  const HOUR = 3600 * 1000, ENTRY_LASTS = 12 * HOUR, LASTS = 30 * 24 * HOUR;
  const TYPED = "input:not([type=hidden],[type=file],[type=password],[type=submit],[type=button],[type=range]), textarea, select";
  const path_of = (form) => new URL(form.getAttribute("action") || location.pathname, location.href).pathname;
  const fields = (form) => [...form.elements].filter((one) => one.name && one.matches(TYPED));
  const tick = (one) => one.type === "checkbox" || one.type === "radio";
  const version = (form) => (form.elements.version || form.elements.seen)?.value ?? "";
  const stock = (() => {
    try {
      localStorage.setItem("typed?", "1");
      localStorage.removeItem("typed?");
      return localStorage;
    } catch {
      return null;
    }
  })();
  if (!stock) return;

  document.querySelector("form.leave")?.addEventListener("submit", () => {
    for (const key of Object.keys(stock)) if (key.startsWith(PREFIX)) stock.removeItem(key);
  });

  // What was sent before this page: gone from here once the cellar answered by sending us on.
  const came = performance.getEntriesByType("navigation")[0];
  const refused = (came?.responseStatus ?? 200) >= 400;
  const sending = sessionStorage.getItem(SENDING);
  sessionStorage.removeItem(SENDING);
  if (sending && !refused && came?.redirectCount > 0) stock.removeItem(sending);

  const changed = (form) => fields(form).some((one) => tick(one) ? one.checked !== one.defaultChecked
    : one.matches("select") ? [...one.options].some((o) => o.selected !== o.defaultSelected) && one.value !== (one.dataset.first ?? "")
      : one.value !== one.defaultValue);

  const save = (form, key) => {
    if (!changed(form)) return stock.removeItem(key);
    const values = fields(form).filter((one) => !tick(one) || one.checked).map((one) => [one.name, one.value]);
    try {
      stock.setItem(key, JSON.stringify({ at: Date.now(), id: form.elements.id?.value, version: version(form), values }));
    } catch {
      stock.removeItem(key); // no room: better nothing than half of it
    }
  };

  const tell = (form, words, label, act) => {
    const line = document.createElement("p"), button = document.createElement("button");
    line.className = "waiting typed";
    line.setAttribute("role", "status");
    button.type = "button";
    button.className = "quiet";
    button.textContent = label;
    button.addEventListener("click", () => { act(); line.remove(); });
    line.append(words, " ", button);
    form.prepend(line);
  };

  const fill = (form, values) => {
    const left = new Map();
    for (const [name, value] of values) left.set(name, [...(left.get(name) ?? []), value]);
    for (const one of fields(form)) {
      const kept = left.get(one.name);
      if (tick(one)) one.checked = kept?.includes(one.value) ?? false;
      else if (kept) one.value = kept[0];
      const folded = one.closest("details");
      if (folded && kept && one.value !== one.defaultValue && !tick(one) && !one.matches("select")) folded.open = true;
    }
    form.dispatchEvent(new Event("input", { bubbles: true }));
  };

  // Rows that this page does not show yet are written by the server, as its own button asks for.
  const fill_rows = (form, values, missing) => {
    fill(form, values);
    for (const [name, value] of missing) {
      form.append(Object.assign(document.createElement("input"), { type: "hidden", name, value }));
    }
    form.requestSubmit(form.querySelector("button[name=do][value=row]"));
  };

  for (const form of document.querySelectorAll("main form[method=post]")) {
    if (form.querySelector("[type=password]") || !fields(form).length) continue;
    for (const one of form.querySelectorAll("select")) one.dataset.first = one.value;
    const key = PREFIX + path_of(form);
    const kept = JSON.parse(stock.getItem(key) ?? "null");
    const lasts = key.startsWith(`${PREFIX}/batches/`) ? ENTRY_LASTS : LASTS;
    // It arrived, though whoever sent it left before the answer: its line is in the log.
    const arrived = kept?.id && document.getElementById(`e-${kept.id}`);
    if (kept && (arrived || Date.now() - kept.at > lasts)) stock.removeItem(key);
    else if (kept && !refused) {
      const names = new Set([...form.elements].map((one) => one.name));
      const missing = kept.values.filter(([name]) => !names.has(name));
      const when = wordings.moment(kept.at);
      const blank = () => { stock.removeItem(key); form.reset(); form.dispatchEvent(new Event("input", { bubbles: true })); };
      if (missing.length && form.querySelector("button[name=do][value=row]")) {
        tell(form, say("You had typed more here ({when}).", { when }), say("Fill it in again"), () => fill_rows(form, kept.values, missing));
      } else if (kept.version !== version(form)) {
        tell(form, say("You had typed here ({when}); it was changed elsewhere since.", { when }), say("Fill it in again"), () => fill(form, kept.values));
      } else {
        fill(form, kept.values);
        tell(form, say("What you had typed here ({when}) is back.", { when }), say("Start afresh"), blank);
      }
    }
    let timer = 0;
    form.addEventListener("input", (event) => {
      if (!event.isTrusted) return;
      clearTimeout(timer);
      timer = setTimeout(() => save(form, key), 200);
    });
    form.addEventListener("submit", () => {
      clearTimeout(timer);
      save(form, key);
      sessionStorage.setItem(SENDING, key);
    });
    window.addEventListener("pagehide", () => timer && sessionStorage.getItem(SENDING) !== key && save(form, key));
  }
})();
