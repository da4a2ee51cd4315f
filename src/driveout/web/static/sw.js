// Keeps the pages last read on this phone, to be read again when the machine cannot be reached. It never keeps a form
// and never sends one later: what could not be sent is shown, so that it can be sent again by hand.
"use strict";
const SHELL = "driveout-shell-1";
const READ = "driveout-read-1";
const MOST_READ = 60;
const FILES = ["/static/driveout.css", "/static/driveout.js", "/static/mark.svg"];
const SENT = "x-driveout-read-at";

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(SHELL).then((shell) => shell.addAll(FILES)).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name !== SHELL && name !== READ) await caches.delete(name);
    await self.clients.claim();
  })());
});
self.addEventListener("fetch", (event) => {
  const asked = event.request;
  const address = new URL(asked.url);
  if (address.origin !== location.origin) return;
  if (asked.method === "POST" && asked.mode === "navigate") {
    event.respondWith(post(asked));
  } else if (asked.method === "GET" && asked.mode === "navigate") {
    event.respondWith(read(asked));
  } else if (asked.method === "GET" && address.pathname.startsWith("/static/")) {
    event.respondWith(fetch(asked).catch(async () => (await caches.match(address.pathname)) || Response.error()));
  }
});

async function read(asked) {
  let answer;
  try {
    answer = await fetch(asked);
  } catch {
    return shown(asked);
  }
  if (answer.status === 401) await caches.delete(READ);
  if (answer.ok && !answer.redirected && (answer.headers.get("content-type") || "").startsWith("text/html")
      && !answer.headers.has("content-disposition")) {
    const headers = new Headers(answer.headers);
    headers.set(SENT, new Date().toISOString());
    const kept = new Response(await answer.clone().blob(), { status: 200, headers });
    const pages = await caches.open(READ);
    await pages.delete(asked.url);
    await pages.put(asked.url, kept);
    const all = await pages.keys();
    for (const old of all.slice(0, Math.max(0, all.length - MOST_READ))) await pages.delete(old);
  }
  return answer;
}

async function shown(asked) {
  const kept = await (await caches.open(READ)).match(asked.url);
  if (!kept) return said("You are offline", "<p>This page has not been read on this phone before. The pages that have been are still here; go back to one of them.</p>");
  const at = new Date(kept.headers.get(SENT));
  const when = at.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  const day = at.toDateString() === new Date().toDateString() ? "" : " on " + at.toLocaleDateString();
  const bar = `<p class="offline" role="status"><strong>You are offline:</strong> this is as of ${when}${day}. Nothing that you send now is kept or sent later.</p>`;
  const page = (await kept.text()).replace(/<body>/, "<body>" + bar);
  return new Response(page, { status: 200, headers: kept.headers });
}

async function post(asked) {
  const copy = asked.clone();
  try {
    return await fetch(asked);
  } catch {
    let typed = "";
    try {
      for (const [name, value] of await copy.formData()) {
        if (["csrf", "once", "version"].includes(name) || (typeof value === "string" && !value.trim())) continue;
        typed += `<dt>${safe(name)}</dt><dd>${safe(typeof value === "string" ? value : value.name)}</dd>`;
      }
    } catch { /* nothing readable was sent */ }
    return said("Not sent", "<p><strong>You are offline.</strong> This was not sent, and it will not be sent later by itself. "
      + "Go back: what you typed is still in the form. It is here too:</p><dl class=\"facts\">" + typed + "</dl>");
  }
}

function safe(text) {
  return String(text).replace(/[&<>"']/g, (sign) => "&#" + sign.charCodeAt(0) + ";");
}

function said(title, inside) {
  const page = `<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">`
    + `<title>${title} – driveout</title><link rel="stylesheet" href="/static/driveout.css"><main class="book"><h1>${title}</h1>${inside}</main></html>`;
  return new Response(page, { status: 503, headers: { "content-type": "text/html; charset=utf-8",
    "content-security-policy": "default-src 'none'; style-src 'self'; form-action 'none'; frame-ancestors 'none'; base-uri 'none'" } });
}
