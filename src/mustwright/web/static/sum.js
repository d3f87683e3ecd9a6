// Works the must out while it is typed. Without this file the button beside it does the same.
"use strict";
(() => {
  const answer = document.getElementById("sum");
  const form = answer?.closest("form");
  if (!form) return;
  const rest = 350; // ms without a change before the server is asked
  let timer = 0, asking = null;

  const ask = async () => {
    asking?.abort();
    asking = new AbortController();
    const typed = new URLSearchParams();
    for (const [name, value] of new FormData(form)) if (typeof value === "string") typed.append(name, value);
    typed.set("do", "try");
    typed.set("fragment", "1");
    try {
      const reply = await fetch(form.action, { method: "POST", body: typed, signal: asking.signal });
      if (reply.ok) answer.innerHTML = await reply.text();
    } catch {
      // Without a connection the last answer stays; the button says more.
    } finally {
      answer.removeAttribute("aria-busy");
    }
  };

  form.addEventListener("input", () => {
    answer.setAttribute("aria-busy", "true");
    clearTimeout(timer);
    timer = setTimeout(ask, rest);
  });
  if (form.elements.volume?.value || form.elements.target?.value) ask();
})();
