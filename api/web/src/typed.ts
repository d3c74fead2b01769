// What was typed into a form and is not kept by the service yet, on this device.

/** Fields that the page carries for itself, not typed by anybody. */
const CARRIED = new Set(["csrf", "awning", "version", "base", "do"]);

/** What is kept of a form: its fields, and over which version they were typed. */
export interface Typed {
  fields: Record<string, string>;
  version: string;
  base: string;
  at: string;
}

/** Return the fields that somebody has typed or chosen; boxes that are not ticked have none. */
export function fieldsOf(data: FormData): Record<string, string> {
  const fields: Record<string, string> = {};
  for (const [name, value] of data) if (typeof value === "string" && !CARRIED.has(name)) fields[name] = value;
  return fields;
}

/** Say whether two forms say the same; an empty field is like none. */
export function same(one: Record<string, string>, other: Record<string, string>): boolean {
  const names = new Set([...Object.keys(one), ...Object.keys(other)]);
  return [...names].every((name) => (one[name] ?? "") === (other[name] ?? ""));
}

/** Return the numbers of the rows that the fields have of a list, in order. */
export function rowNumbers(fields: Record<string, string>, list: string): number[] {
  const found = new Set<number>();
  for (const name of Object.keys(fields)) {
    if (!name.startsWith(`${list}.`)) continue;
    const number = name.slice(list.length + 1).split(".")[0] ?? "";
    if (/^(0|[1-9]\d{0,3})$/.test(number)) found.add(Number(number));
  }
  return [...found].sort((a, b) => a - b);
}

/** Return what was kept under `key`; null where nothing was, or nothing that can be read. */
export function recall(storage: Storage, key: string): Typed | null {
  try {
    const typed = JSON.parse(storage.getItem(key) ?? "null") as Typed | null;
    return typed !== null && typeof typed.fields === "object" && typeof typed.version === "string" ? typed : null;
  } catch {
    return null;
  }
}

/** Keep `typed` under `key`; says whether there was room for it. */
export function remember(storage: Storage, key: string, typed: Typed): boolean {
  try {
    storage.setItem(key, JSON.stringify(typed));
    return true;
  } catch {
    return false;
  }
}
