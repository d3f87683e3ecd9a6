// Keeps copies of pages for where there is no network, and entries until they can be sent.
// VERSION and SHELL are written above by the server.
"use strict";
importScripts("/static/words.js", "/static/waiting.js");
const ASSETS = `assets-${VERSION}`, PAGES = "pages";
const KEPT = /^\/(?:$|batches(?:\/[a-z0-9-]+(?:\/(?:paper|record|rehydrate))?)?$|musts\/(?!new(?:\/|$))[a-z0-9-]+(?:\/rehydrate)?$)/;
const FALLBACK = "/kept";
const MOST_KEPT = 80;
const PATIENCE = 10000; // ms for a page, while a kept copy could be shown instead
const LONG = 12000; // ms for an entry before it is kept here
const SLOW = "no answer in time";
let generation = 0; // counts sign-outs: nothing asked for before one is kept after it

self.addEventListener("install", (event) => event.waitUntil((async () => {
  const shell = await caches.open(ASSETS);
  await shell.addAll(SHELL.map((path) => new Request(path, { credentials: "omit", cache: "reload" })));
  await self.skipWaiting();
})()));

self.addEventListener("activate", (event) => event.waitUntil((async () => {
  for (const name of await caches.keys()) {
    if (name.startsWith("assets-") && name !== ASSETS) await caches.delete(name);
  }
  await self.clients.claim();
})()));

self.addEventListener("sync", (event) => event.waitUntil(waiting.send_all()));

self.addEventListener("message", (event) => {
  if (event.data?.keep) event.waitUntil(keep_all(event.data.keep, event.data.younger ?? 0));
});

self.addEventListener("fetch", (event) => {
  const { request } = event, url = new URL(request.url);
  if (url.origin !== location.origin) return;
  if (request.mode === "navigate" && request.method === "POST") {
    if (waiting.ENTRY.test(url.pathname)) event.respondWith(entry(event, url));
    else if (url.pathname === "/logout") event.respondWith(sign_out(request));
    else event.respondWith(fetch(request).catch(() => no_network((say) => say("That needs a connection. Go back: what you typed is still there."))));
  } else if (request.mode === "navigate" && request.method === "GET") {
    event.respondWith(url.pathname === "/login" ? login(request) : page(event, url));
  } else if (request.method === "GET" && url.pathname.startsWith("/static/")) {
    event.respondWith(asset(request));
  }
});

const within = (ms, promise) => Promise.race([promise,
  new Promise((_, failed) => setTimeout(() => failed(new Error(SLOW)), ms))]);

async function asset(request) {
  const kept = await caches.match(request, { cacheName: ASSETS });
  try {
    return await within(kept ? PATIENCE : 60000, fetch(request));
  } catch (error) {
    if (kept) return kept;
    throw error;
  }
}

// Pages ------------------------------------------------------------------------------------------

const place = (url) => url.pathname.startsWith("/musts/") ? url.pathname + url.search : url.pathname;

async function page(event, url) {
  const known = KEPT.test(url.pathname)
    ? await caches.match(place(url), { cacheName: PAGES }) : undefined;
  const before = generation;
  try {
    const answer = await within(known ? PATIENCE : 60000, fetch(event.request));
    if (KEPT.test(url.pathname) && answer.status === 200) {
      // A page that tells of an entry just written is not kept: the plain one is.
      event.waitUntil(place(url) === url.pathname + url.search
        ? put(place(url), answer.clone(), before) : keep_all([place(url)], 0));
    }
    return answer;
  } catch (error) {
    if (known) return copy_of(known, url, error.message === SLOW);
    return no_network((say) => url.pathname === FALLBACK ? "" : say("This page is not kept on this device."));
  }
}

async function put(path, answer, before) {
  if (before !== generation || answer.status !== 200 || answer.redirected) return;
  const headers = { "Content-Type": "text/html; charset=utf-8", "X-Kept": String(Date.now()) };
  for (const name of ["Content-Security-Policy", "Referrer-Policy", "X-Content-Type-Options"]) {
    if (answer.headers.has(name)) headers[name] = answer.headers.get(name);
  }
  const text = await answer.text();
  if (before !== generation) return;
  const pages = await caches.open(PAGES);
  await pages.put(path, new Response(text, { headers }));
  const keys = await pages.keys();
  for (const old of keys.slice(0, Math.max(0, keys.length - MOST_KEPT))) await pages.delete(old);
}

async function keep_all(paths, younger) {
  const pages = await caches.open(PAGES), before = generation;
  for (const path of paths) {
    const url = new URL(path, location.origin);
    if (url.origin !== location.origin || !KEPT.test(url.pathname)) continue;
    const known = await pages.match(place(url));
    if (known && Date.now() - Number(known.headers.get("X-Kept")) < younger) continue;
    try {
      await put(place(url), await fetch(place(url), { headers: { Accept: "text/html" } }), before);
    } catch {
      return;
    }
  }
}

const escape = (text) => text.replace(/[&<>"']/g, (sign) => `&#${sign.charCodeAt(0)};`);

function ago(ms, say) {
  const minutes = Math.round((Date.now() - ms) / 60000);
  if (minutes < 1) return say("just now");
  if (minutes === 1) return say("1 minute ago");
  if (minutes < 90) return say("{count} minutes ago", { count: minutes });
  const hours = Math.round(minutes / 60);
  if (hours < 48) return say("{count} hours ago", { count: hours });
  return say("{count} days ago", { count: Math.round(hours / 24) });
}

const language_of = (text) => /<html lang="([a-z]+)"/.exec(text)?.[1] ?? "en";

// A kept copy says so, and from when; what waits for this batch stands on it; its forms have new ids.
async function copy_of(kept, url, slow) {
  const page = await kept.text(), language = language_of(page), say = wordings.in_language(language);
  const at = Number(kept.headers.get("X-Kept"));
  const slug = /^\/batches\/([a-z0-9-]+)/.exec(url.pathname)?.[1];
  const open = (await waiting.unsent()).filter((one) => waiting.ENTRY.exec(one.path)[1] === slug);
  const list = open.map((one) => `<li>${escape(waiting.words(one, say))}, ${escape(wordings.moment(one.at, language))}</li>`).join("");
  const wrote = url.searchParams.has("wrote")
    ? `<p>${escape(say("Your entry reached the cellar; this copy is from before it."))}</p>` : "";
  const lost = slow ? say("The cellar does not answer in time.") : say("No network.");
  const from = say("This is a copy from {moment}, {ago}.", { moment: wordings.moment(at, language), ago: ago(at, say) });
  const then = say("“Now” and “today” on it mean then. Its forecast knows nothing that came later.");
  const waits = list ? `<p>${escape(say("Waiting to be sent from this device:"))}</p><ul>${list}</ul>` : "";
  const banner = `<div class="stop kept-copy" role="status"><p><strong>${escape(lost)} ${escape(from)}</strong> ${escape(then)}</p>${wrote}${waits}</div>`;
  const text = page
    .replace(`<html lang="${language}">`, `<html lang="${language}" data-kept="${at}">`)
    .replace(/(name="id" value=")[0-9a-f]{32}/g, (_, start) => start + fresh())
    .replace('<main id="content" tabindex="-1">', (start) => start + banner);
  return new Response(text, { headers: kept.headers });
}

const fresh = () => Array.from(crypto.getRandomValues(new Uint8Array(16)),
  (byte) => byte.toString(16).padStart(2, "0")).join("");

async function no_network(why) {
  const fallback = await caches.match(FALLBACK, { cacheName: ASSETS });
  const page = await fallback.text(), say = wordings.in_language(language_of(page));
  const told = `<div class="stop kept-copy" role="alert"><p><strong>${escape(say("No network."))}</strong> ${escape(why(say))}</p></div>`;
  const text = page.replace('<main id="content" tabindex="-1">', (start) => start + told);
  return new Response(text, { headers: fallback.headers });
}

// Entries ----------------------------------------------------------------------------------------

async function entry(event, url) {
  const pairs = [...await event.request.clone().formData()];
  let answer = null;
  try {
    answer = await within(LONG, fetch(event.request));
  } catch {
    answer = null;
  }
  // Without a session, or with one that has changed since, the entry waits until after signing in.
  if (answer !== null && answer.status !== 401 && answer.status !== 403) return answer;
  await waiting.keep(url.pathname, pairs);
  try {
    await self.registration.sync?.register("send");
  } catch {
    // Not every browser sends by itself; the pages do, whenever one is open.
  }
  const batch = url.pathname.slice(0, url.pathname.lastIndexOf("/"));
  if (answer !== null) return Response.redirect(`/login?then=${encodeURIComponent(batch)}`, 303);
  return Response.redirect(batch, 303);
}

// Signing out ------------------------------------------------------------------------------------

async function forget() {
  generation += 1;
  await caches.delete(PAGES);
}

// Whoever is asked to sign in has no right to the pages kept before.
async function login(request) {
  try {
    const answer = await fetch(request);
    if (answer.status === 200 && !answer.redirected) await forget();
    return answer;
  } catch {
    return no_network((say) => say("Signing in needs a connection."));
  }
}

async function sign_out(request) {
  await forget();
  try {
    return await fetch(request);
  } catch {
    return no_network((say) => say("The kept pages were removed from this device. Sign out again with a connection, so that the cellar ends the session too."));
  }
}
