// What is noted on a day sheet waits here until the service has it: sent once each, in order, refused ones kept and shown.
import { headingOf, kindOf } from "../problem.ts";
import { spoken, spokenFor } from "../spoken.ts";

/** A refusal in the service's words; `current` and `sent` are both sides of a clash, where it is one. */
export interface Refusal {
  status: number;
  kind: string;
  title: string;
  detail: string;
  current?: unknown;
  sent?: unknown;
}

/** One thing noted. `n` is its place in the queue, given by the store. */
export interface Entry {
  n: number;
  /** The Idempotency-Key: the same over all tries, however often the answer is lost. */
  key: string;
  /** The address of the day sheet on which it was noted. */
  page: string;
  /** What it is about: of one thing later notes wait for earlier ones, those of other things do not. */
  thing: string;
  path: string;
  body: Record<string, unknown>;
  /** A photo goes as a form with `body` as its fields. */
  photo?: Blob;
  /** What it says, for the crew. */
  words: string;
  /** How often the service itself has failed on it. */
  tries: number;
  refusal?: Refusal;
  /** The key of the note that this one corrects, while that has no number of the service's yet. */
  corrects?: string;
}

export type Note = Omit<Entry, "n" | "tries">;

/** Where entries lie; in order of their `n`. */
export interface Store {
  add(note: Note): Promise<Entry>;
  all(): Promise<Entry[]>;
  put(entry: Entry): Promise<void>;
  remove(n: number): Promise<void>;
}

/** An answer of the service; `status` 0: none came. */
export interface Reply {
  status: number;
  document: Record<string, unknown>;
}

/** How entries reach the service. */
export interface Transport {
  post(entry: Entry): Promise<Reply>;
  /** Say whether whoever is signed in here may write on that day sheet; throws where nobody answers. */
  mayWrite(page: string): Promise<boolean>;
}

/** How a round of sending ended: everything went that could, or it stopped since nobody answers or nobody is signed in. */
export type Ended = "through" | "no signal" | "signed out";

// An answer of these says nothing about the note itself: the way to the service, or the service, is in trouble.
const IN_TROUBLE = new Set([0, 408, 425, 429, 500, 502, 503, 504]);
// A note on which the service itself fails is set aside after so many rounds, so that others get by.
const MOST_FAILURES = 5;

/**
 * Send what waits on `page` in order, and tell `sent` of each that arrived.
 *
 * A note that the service refuses is kept with its words; later notes of the same thing wait for the crew's decision on
 * it, those of other things go on.
 */
export async function sendAll(
  store: Store,
  page: string,
  transport: Transport,
  sent: (entry: Entry, reply: Reply) => void | Promise<void> = () => {},
): Promise<Ended> {
  const held = new Set<string>();
  for (;;) {
    // Read anew each time: something may have been noted, decided or corrected while the last was on its way.
    const entries = (await store.all()).filter((entry) => entry.page === page);
    for (const entry of entries) if (entry.refusal !== undefined) held.add(entry.thing);
    const next = entries.find((entry) => entry.refusal === undefined && !held.has(entry.thing));
    if (next === undefined) return "through";
    const reply = await transport.post(next);
    if (reply.status >= 200 && reply.status < 300) {
      await corrected(store, next, reply);
      await store.remove(next.n);
      await sent(next, reply);
      continue;
    }
    const kind = kindOf(reply.document["type"]);
    if (kind === "under-way") return "no signal";
    if (IN_TROUBLE.has(reply.status)) {
      if (reply.status !== 500) return "no signal";
      if (next.tries + 1 < MOST_FAILURES) {
        await store.put({ ...next, tries: next.tries + 1 });
        return "no signal";
      }
    } else if (reply.status === 401 || kind === "form-expired" || kind === "change-password") {
      return "signed out";
    } else if (reply.status === 403 || reply.status === 404) {
      try {
        if (!(await transport.mayWrite(page))) return "signed out";
      } catch {
        return "no signal";
      }
    }
    await store.put({ ...next, tries: next.tries + 1, refusal: refusal(reply) });
  }
}

/** Return the crew in the address of a day sheet. */
export function crewOf(page: string): string {
  return page.split("/")[2] ?? "";
}

/**
 * Send what the crew of `page` noted on its sheets of other days: its link of before may be over by now, and whoever
 * has a new one on the same phone may still hand it in.
 */
export async function handIn(store: Store, page: string, transport: Transport): Promise<void> {
  const waiting = (await store.all()).filter((entry) => entry.refusal === undefined && crewOf(entry.page) === crewOf(page));
  for (const other of new Set(waiting.map((entry) => entry.page))) {
    if (other === page) continue;
    try {
      if (!(await transport.mayWrite(other))) continue;
    } catch {
      return; // no signal
    }
    if ((await sendAll(store, other, transport)) === "no signal") return;
  }
}

/** Give the notes that correct one which has arrived its number, so that they replace it and not something else. */
async function corrected(store: Store, entry: Entry, reply: Reply): Promise<void> {
  for (const later of await store.all()) {
    if (later.corrects !== entry.key) continue;
    const { corrects: _, ...rest } = later;
    await store.put({ ...rest, body: { ...rest.body, replaces: reply.document["id"] ?? null } });
  }
}

function refusal(reply: Reply): Refusal {
  const { title, detail, current, sent } = reply.document;
  return {
    status: reply.status,
    kind: kindOf(reply.document["type"]),
    title: headingOf(title, reply.status),
    detail: typeof detail === "string" ? detail : "",
    ...(current === undefined ? {} : { current }),
    ...(sent === undefined ? {} : { sent }),
  };
}

/** Return the body of a refused note as it goes once more, the crew knowing what stood against it. */
export function allTheSame(entry: Entry): Record<string, unknown> {
  const { kind, current } = entry.refusal ?? { kind: "" };
  if (kind === "moved") return { ...entry.body, although_moved: true };
  if (kind === "changed-meanwhile" && "replaces" in entry.body) {
    const id = typeof current === "object" && current !== null ? (current as { id?: unknown }).id : undefined;
    return { ...entry.body, replaces: typeof id === "number" ? id : null };
  }
  return entry.body;
}

/** Say how it stands, for the crew: `waiting` and `refused` are how many notes, `sentAt` is a time like 9:40 or empty. */
export function signalWords(waiting: number, refused: number, ended: Ended | "sending", sentAt: string): string {
  const waits = waiting > 0 ? `, ${spokenFor("{n} note waits", "{n} notes wait", waiting)}` : "";
  const words: string[] = [];
  if (ended === "signed out") {
    words.push(spoken("Signed out") + waits);
  } else if (ended === "no signal") {
    words.push(waiting > 0 ? spoken("No signal") + waits : spoken("No signal, nothing waits"));
  } else if (waiting > 0) {
    words.push(spokenFor("Sending {n} note", "Sending {n} notes", waiting));
  } else if (refused === 0) {
    words.push(sentAt === "" ? spoken("Nothing to send") : spoken("All sent {time}", { time: sentAt }));
  }
  if (refused > 0) words.push(spokenFor("{n} note was not taken: see below", "{n} notes were not taken: see below", refused));
  return words.join(". ");
}
