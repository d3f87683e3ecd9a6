// The page of what is kept on this device: entries that wait, and copies of pages.
"use strict";
(() => {
  const say = wordings.here;
  const entries = document.getElementById("kept-entries");
  const pages = document.getElementById("kept-pages");
  const NOT_TYPED = ["id", "at", "stamped", "plan", "do", "form_token", "feed", "unit", "volume_unit"];

  const made = (tag, text, more = {}) => Object.assign(document.createElement(tag), { textContent: text, ...more });

  const button = (label, act) => {
    const one = made("button", label, { type: "button", className: "quiet" });
    one.addEventListener("click", act);
    return one;
  };

  const row = (entry) => {
    const item = made("li", ""), slug = waiting.ENTRY.exec(entry.path)[1];
    item.append(made("strong", waiting.words(entry, say)), " ",
      made("span", `${slug.replaceAll("-", " ")}, ${wordings.moment(entry.at)}`, { className: "soft" }));
    const actions = made("div", "", { className: "log-actions" });
    if (entry.state === "refused") {
      item.append(made("p", entry.why, { className: "wrong" }));
      entry.fields.forEach(([name, value], i) => {
        if (typeof value !== "string" || !value || NOT_TYPED.includes(name)) return;
        const id = `${entry.id}-${i}`, field = made("div", "", { className: "field" });
        const input = made("input", "", { id, value });
        input.addEventListener("input", () => { entry.fields[i][1] = input.value; });
        field.append(made("label", name.replaceAll("_", " "), { htmlFor: id }), input);
        item.append(field);
      });
      actions.append(button(say("Send it again"), async () => {
        await waiting.put({ ...entry, state: "waiting", why: "" });
        await waiting.send_all();
        await show();
      }));
    }
    actions.append(button(say("Delete it"), async () => { await waiting.remove(entry.id); await show(); }));
    item.append(actions);
    return item;
  };

  const show = async (open) => {
    open ??= await waiting.unsent();
    entries.replaceChildren(...open.map(row));
    document.getElementById("kept-none").hidden = open.length > 0;
    document.getElementById("kept-send").hidden = !open.some((one) => one.state === "waiting");
  };

  const list = async () => {
    if (!("caches" in window)) return;
    const kept = await caches.open("pages"), keys = await kept.keys();
    pages.replaceChildren(...await Promise.all(keys.map(async (key) => {
      const url = new URL(key.url), item = made("li", "");
      const page = new DOMParser().parseFromString(await (await kept.match(key)).text(), "text/html");
      item.append(made("a", page.title.replace(" · Mustwright", ""), { href: url.pathname + url.search }));
      return item;
    })));
    document.getElementById("kept-forget").hidden = keys.length === 0;
  };

  document.getElementById("kept-send").addEventListener("click", async () => { await waiting.send_all(); await show(); });
  document.getElementById("kept-forget").addEventListener("click", async () => { await caches.delete("pages"); await list(); });
  document.addEventListener("waiting", (event) => show(event.detail));
  show().catch(() => null);
  list();
})();
