// Keeps day sheets on the phone, so that they open without signal, and sends what waits when the browser wakes it.
import { sendAll, type Entry } from "../day/queue.ts";
import { notes } from "../day/store.ts";
import { transport } from "../day/transport.ts";

declare const self: ServiceWorkerGlobalScope;

interface Message {
  do: "keep" | "forget" | "sync";
  page?: string;
  urls?: string[];
  /** By day link: no other day sheet stays on this phone. */
  alone?: boolean;
  /** The SHA-256 of the token in the link that opened it, so that the same link opens it without signal. */
  opened?: string;
}

const PREFIX = "day ";
const DAY_SHEET = /^\/crews\/[^/]+\/days\/\d{4}-\d\d-\d\d$/;
const LINK = "/day-links/open/";
const SYNC = "day-notes";
// A van at the edge of reception: what is kept is shown after this, where there is something kept.
const PATIENCE_MS = 4000;

self.addEventListener("install", () => void self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("message", (event) => {
  const message = event.data as Message;
  if (message.do === "keep" && message.page !== undefined) {
    event.waitUntil(
      keep(message.page, message.urls ?? [], message.alone === true, message.opened ?? "").then(
        (kept) => event.ports[0]?.postMessage(kept),
        () => event.ports[0]?.postMessage(false),
      ),
    );
  } else if (message.do === "forget") event.waitUntil(forget((name) => message.page === undefined || name === PREFIX + message.page));
  else if (message.do === "sync") event.waitUntil(askForSync());
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (request.mode === "navigate") {
    if (url.pathname.startsWith(LINK)) event.respondWith(link(request, url.pathname.slice(LINK.length)));
    else if (DAY_SHEET.test(url.pathname)) event.respondWith(daySheet(request, url.pathname));
  } else if (url.pathname.startsWith("/static/") && url.searchParams.has("v")) {
    event.respondWith(keptFirst(request));
  } else if (url.pathname.startsWith("/photos/") || /^\/(crews\/[^/]+\/days\/[^/]+\/drawings\/|jobs\/[^/]+\/zero$)/.test(url.pathname)) {
    event.respondWith(serviceFirst(request));
  }
});

// Where the browser has it: it wakes the worker when signal returns, even with the page closed.
self.addEventListener("sync" as never, ((event: ExtendableEvent & { tag: string }) => {
  if (event.tag === SYNC) event.waitUntil(sendEverything());
}) as never);

async function askForSync(): Promise<void> {
  const { sync } = self.registration as ServiceWorkerRegistration & { sync?: { register(tag: string): Promise<void> } };
  await sync?.register(SYNC).catch(() => undefined);
}

async function sendEverything(): Promise<void> {
  const pages = new Set((await notes.all()).map((entry: Entry) => entry.page));
  for (const page of pages) {
    const way = transport("");
    // Whoever is signed in now must be of that day: notes are not put in another crew's name.
    if (!(await way.mayWrite(page))) continue;
    let any = false;
    await self.navigator.locks.request("day-notes", () => sendAll(notes, page, way, () => void (any = true)));
    if (any) new BroadcastChannel("day-notes").postMessage(page);
  }
}

/** Fetch a day sheet and what it shows anew and keep it; says whether all of it is here. */
async function keep(page: string, urls: string[], alone: boolean, opened: string): Promise<boolean> {
  if (alone) await forget((name) => name !== PREFIX + page);
  const cache = await caches.open(PREFIX + page);
  const wanted = [self.location.origin + page, ...urls];
  const fetched = await Promise.all(
    wanted.map(async (url) => {
      const lasting = new URL(url).pathname.startsWith("/static/") && url.includes("?v=");
      if (lasting && (await cache.match(url, { ignoreVary: true })) !== undefined) return true;
      try {
        const answer = await fetch(url, { credentials: "same-origin", headers: { Accept: "text/html,*/*" }, redirect: "error" });
        if (answer.ok) await cache.put(url, answer);
        return answer.ok;
      } catch {
        return (await cache.match(url, { ignoreVary: true })) !== undefined;
      }
    }),
  );
  for (const old of await cache.keys()) if (!wanted.includes(old.url)) await cache.delete(old);
  if (opened !== "") await cache.put(keptLink(opened), new Response(page));
  return fetched.every(Boolean);
}

function keptLink(digest: string): string {
  return `${self.location.origin}${LINK}kept-${digest}`;
}

/** Open a texted link: as the service does, else the day that it opened before. */
async function link(request: Request, token: string): Promise<Response> {
  const bytes = await crypto.subtle.digest("SHA-256", new TextEncoder().encode(decodeURIComponent(token)));
  const digest = [...new Uint8Array(bytes)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  const kept = await caches.match(keptLink(digest));
  try {
    return await (kept === undefined ? fetch(request) : soon(fetch(request)));
  } catch {
    if (kept !== undefined) return Response.redirect(await kept.text(), 302);
    return words("No signal", "This link has not been opened on this phone yet: open it once while there is signal.",
      "Este enlace todavía no se ha abierto en este teléfono: ábralo una vez mientras haya señal.");
  }
}

async function forget(which: (name: string) => boolean): Promise<void> {
  for (const name of await caches.keys()) if (name.startsWith(PREFIX) && which(name)) await caches.delete(name);
}

/** Open a day sheet: as the service has it, else as it is kept here. */
async function daySheet(request: Request, page: string): Promise<Response> {
  const cache = (await caches.has(PREFIX + page)) ? await caches.open(PREFIX + page) : undefined;
  const kept = await cache?.match(self.location.origin + page, { ignoreVary: true });
  let answer: Response;
  try {
    answer = await (kept === undefined ? fetch(request) : soon(fetch(request)));
  } catch {
    return kept ?? words("No signal", "This day has not been kept on this phone: open it once while there is signal.",
      "Este día no está guardado en este teléfono: ábralo una vez mientras haya señal.");
  }
  if (answer.ok) await cache?.put(self.location.origin + page, answer.clone());
  else if (answer.type === "opaqueredirect" || answer.status === 404 || answer.status === 403) {
    // The link is over or revoked, or somebody else is signed in: nothing of the day stays here but what waits.
    await forget((name) => name === PREFIX + page);
    const count = async (): Promise<number> => (await notes.all()).filter((entry) => entry.page === page).length;
    const before = await count();
    // Whose link is over by its day may still hand in what was noted on it.
    if (before > 0) await sendEverything().catch(() => undefined);
    const waiting = await count();
    if (waiting === 0 && before > 0 && answer.type === "opaqueredirect") {
      return words(
        "All sent",
        "This day is over, and what was noted on this phone has been sent.",
        "Este día ha terminado, y lo que se anotó en este teléfono se ha enviado.",
      );
    }
    if (waiting > 0 && answer.type === "opaqueredirect") {
      const many = waiting === 1 ? "1 note waits" : `${waiting} notes wait`;
      return words(
        "Signed out",
        `${many} on this phone for this day. They stay here: open a new link of the office, or sign in, and they are sent.`,
        "Hay notas de este día en este teléfono. Aquí se quedan: abra un enlace nuevo de la oficina, o inicie sesión, y se envían.",
        `/sign-in?next=${encodeURIComponent(page)}`,
      );
    }
  } else if (kept !== undefined && answer.status >= 500) return kept;
  return answer;
}

async function keptFirst(request: Request): Promise<Response> {
  return (await caches.match(request, { ignoreVary: true })) ?? fetch(request);
}

async function serviceFirst(request: Request): Promise<Response> {
  const kept = await caches.match(request, { ignoreVary: true });
  if (kept === undefined) return fetch(request);
  try {
    const answer = await soon(fetch(request));
    return answer.ok || answer.status === 304 ? answer : answer.status >= 500 ? kept : answer;
  } catch {
    return kept;
  }
}

/** Return the answer, or fail once it takes too long. */
function soon(answer: Promise<Response>): Promise<Response> {
  return Promise.race([
    answer,
    new Promise<never>((_, fail) => setTimeout(() => fail(new Error("the service takes too long")), PATIENCE_MS)),
  ]);
}

/** Return a page of a few words, in both languages: without signal nobody knows who reads it. */
function words(title: string, text: string, spanish: string, signIn = ""): Response {
  const link = signIn === "" ? "" : `<p><a href="${signIn}">Sign in</a></p>`;
  const html = `<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>${title}</title><link rel="icon" href="data:,"><link rel="stylesheet" href="/static/paper.css"></head><body><main id="main"><h1>${title}</h1><p>${text}</p><p lang="es">${spanish}</p>${link}</main></body></html>`;
  return new Response(html, { status: 503, headers: { "Content-Type": "text/html; charset=utf-8" } });
}
