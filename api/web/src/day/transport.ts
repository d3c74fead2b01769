// The way of a note to the service, for the page and for its worker.
import { kindOf } from "../problem.ts";
import type { Entry, Reply, Transport } from "./queue.ts";

interface Session {
  csrf: string;
  role: string | null;
  crew_id: string | null;
  day: string | null;
  /** Of a day link: other days of its crew of which this phone may still hand in what it noted. */
  hand_in: string[];
}

// Longer than a slow upload of a photo takes; what hangs longer is tried again with the same key.
const PATIENCE_MS = 60_000;

/** Return the transport of whoever is signed in here; `token` is that of the page, empty: asked for when needed. */
export function transport(token: string): Transport {
  let csrf = token;

  async function session(): Promise<Session | null> {
    const answer = await fetch("/session", { headers: { Accept: "application/json" }, credentials: "same-origin", cache: "no-store" });
    if (answer.status === 401 || answer.status === 403) return null;
    if (!answer.ok) throw new TypeError(`the service answered ${answer.status}`);
    return (await answer.json()) as Session;
  }

  async function once(entry: Entry): Promise<Reply> {
    const headers = new Headers({ Accept: "application/json", "X-CSRF-Token": csrf, "Idempotency-Key": entry.key });
    let body: BodyInit;
    if (entry.photo === undefined) {
      headers.set("Content-Type", "application/json");
      body = JSON.stringify(entry.body);
    } else {
      const form = new FormData();
      for (const [name, value] of Object.entries(entry.body)) form.append(name, String(value));
      form.append("file", entry.photo, "photo.jpg");
      body = form;
    }
    const answer = await fetch(entry.path, {
      method: "POST", headers, body, credentials: "same-origin", signal: AbortSignal.timeout(PATIENCE_MS),
    });
    const json = /[/+]json\b/.test(answer.headers.get("Content-Type") ?? "");
    return { status: answer.status, document: json ? ((await answer.json()) as Record<string, unknown>) : {} };
  }

  return {
    async post(entry: Entry): Promise<Reply> {
      try {
        const reply = await once(entry);
        if (reply.status !== 403 || kindOf(reply.document["type"]) !== "form-expired") return reply;
        // The page is older than the session: somebody has signed in anew since it was kept.
        const now = await session();
        if (now === null || now.csrf === csrf) return reply;
        csrf = now.csrf;
        return await once(entry);
      } catch {
        return { status: 0, document: {} };
      }
    },
    async mayWrite(page: string): Promise<boolean> {
      const now = await session();
      if (now === null) return false;
      const [, , crew, , day] = page.split("/");
      if (now.role === null) {
        return now.crew_id === decodeURIComponent(crew ?? "") && (now.day === day || now.hand_in.includes(day ?? ""));
      }
      return now.role === "manager" || now.role === "office" || now.crew_id === decodeURIComponent(crew ?? "");
    },
  };
}
