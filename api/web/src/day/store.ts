// The queue and the last state that the service told, in the browser's database: they outlive reloads and restarts.
import { openDB, type DBSchema, type IDBPDatabase } from "idb";
import type { Entry, Note, Store } from "./queue.ts";
import type { DayState } from "./state.ts";

interface Schema extends DBSchema {
  notes: { key: number; value: Entry };
  days: { key: string; value: { page: string; state: DayState } };
}

let opened: Promise<IDBPDatabase<Schema>> | undefined;

function database(): Promise<IDBPDatabase<Schema>> {
  opened ??= openDB<Schema>("eaveboard-days", 1, {
    upgrade(db) {
      db.createObjectStore("notes", { keyPath: "n", autoIncrement: true });
      db.createObjectStore("days", { keyPath: "page" });
    },
  });
  return opened;
}

/** The queue of this browser. */
export const notes: Store = {
  async add(note: Note): Promise<Entry> {
    const entry = { ...note, tries: 0 };
    const n = await (await database()).add("notes", entry as Entry);
    return { ...entry, n };
  },
  async all(): Promise<Entry[]> {
    return (await database()).getAll("notes");
  },
  async put(entry: Entry): Promise<void> {
    // Only what is still there: it may have been decided on meanwhile.
    const change = (await database()).transaction("notes", "readwrite");
    if ((await change.store.get(entry.n)) !== undefined) await change.store.put(entry);
    await change.done;
  },
  async remove(n: number): Promise<void> {
    await (await database()).delete("notes", n);
  },
};

/** Return the state of a day sheet as the service told it last. */
export async function lastState(page: string): Promise<DayState | undefined> {
  return (await (await database()).get("days", page))?.state;
}

/** Keep the state of a day sheet; `undefined` forgets it. */
export async function keepState(page: string, state: DayState | undefined): Promise<void> {
  const db = await database();
  if (state === undefined) await db.delete("days", page);
  else await db.put("days", { page, state });
}

/** Forget the states of all day sheets but `page`; what waits to be sent stays. */
export async function forgetOtherStates(page: string): Promise<void> {
  const change = (await database()).transaction("days", "readwrite");
  for (const key of await change.store.getAllKeys()) if (key !== page) await change.store.delete(key);
  await change.done;
}
