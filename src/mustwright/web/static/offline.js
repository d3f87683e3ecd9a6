// Installs the service worker, sends what waits, and says how much does. Without this file the
// pages need a connection, and nothing else changes.
"use strict";
(() => {
  const say = wordings.here;
  const MINUTE = 60 * 1000;
  const REST = 2000; // ms on a page before others are fetched beside it
  const kept_at = Number(document.documentElement.dataset.kept || 0);
  const worker = navigator.serviceWorker; // missing where the connection is neither https nor local
  const main = document.getElementById("content");
  let sending = false;

  const tell = async (left, note) => {
    let line = document.getElementById("waiting");
    if (!left && !note) return line?.remove();
    if (!line) {
      line = document.createElement("p");
      line.id = "waiting";
      line.className = "waiting no-print";
      line.setAttribute("role", "status");
      main.before(line);
    }
    line.textContent = note ? `${note} ` : "";
    if (left) {
      const link = document.createElement("a");
      link.href = "/kept";
      link.textContent = left === 1 ? say("1 entry waits on this device")
        : say("{count} entries wait on this device", { count: left });
      line.append(link);
    }
  };

  const refresh = async (note = "") => {
    const open = await waiting.unsent();
    await tell(open.length, note);
    document.dispatchEvent(new CustomEvent("waiting", { detail: open }));
  };

  const untouched = () => [...document.querySelectorAll("main form :is(input, textarea, select)")]
    .every((field) => field.type === "hidden" || field.value === (field.defaultValue ?? field.value));

  const send = async () => {
    if (sending) return;
    sending = true;
    try {
      const done = await waiting.send_all();
      const here = done.paths.some((path) => path.startsWith(`${location.pathname}/`));
      if (done.sent && (here || kept_at) && untouched()) return location.reload();
      const notes = [];
      if (done.sent) {
        notes.push(done.sent === 1 ? say("1 entry was sent.")
          : say("{count} entries were sent.", { count: done.sent }));
      }
      if (done.stranger) notes.push(say("Sign in to send:"));
      await refresh(notes.join(" "));
    } catch {
      // The browser keeps nothing here (a private window): pages work as they do without.
    } finally {
      sending = false;
    }
  };

  // Where no service worker runs, an open page keeps its entries itself.
  const answers = async () => {
    const patience = new AbortController();
    const timer = setTimeout(() => patience.abort(), 4000);
    try {
      await fetch("/health", { signal: patience.signal, cache: "no-store" });
      return true;
    } catch {
      return false;
    } finally {
      clearTimeout(timer);
    }
  };
  document.addEventListener("submit", async (event) => {
    const form = event.target, path = new URL(form.action, location.href).pathname;
    if (worker?.controller || form.method !== "post" || !waiting.ENTRY.test(path)) return;
    event.preventDefault();
    const pairs = [...new FormData(form, event.submitter)];
    if (await answers()) {
      if (event.submitter?.name) {
        const pressed = document.createElement("input");
        pressed.type = "hidden";
        pressed.name = event.submitter.name;
        pressed.value = event.submitter.value;
        form.append(pressed);
      }
      form.submit();
      return;
    }
    await waiting.keep(path, pairs);
    form.reset();
    await refresh(say("No network: the entry is kept here and sent later."));
    main.focus();
  });

  window.addEventListener("online", send);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && send());
  setInterval(send, MINUTE / 2);

  window.addEventListener("load", async () => {
    await send();
    if (!worker) return;
    await worker.register("/service-worker.js").catch(() => null);
    const ready = await worker.ready;
    if (kept_at || location.pathname === "/login") return;
    // A page that did not come by the worker is kept now; the batches that are due, beforehand.
    const links = [...document.querySelectorAll("a[href^='/batches/']")].map((link) => link.pathname);
    const due = ["/", "/batches"].includes(location.pathname) ? [...new Set(links)].slice(0, 8) : [];
    const beside = [...document.querySelectorAll("a[data-keep]")].map((link) => link.pathname + link.search);
    const came_by_worker = performance.getEntriesByType("navigation")[0]?.workerStart > 0;
    const first = came_by_worker ? [] : [location.pathname + location.search];
    ready.active?.postMessage({ keep: first, younger: 0 });
    setTimeout(() => ready.active?.postMessage({ keep: [...beside, ...due], younger: 30 * MINUTE }), REST);
  });
})();
