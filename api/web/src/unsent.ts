// What somebody has typed into a form and not sent, kept on the device: for each form and user, until it is saved.

export type Field = HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement;

/** What stood in a form: each field by its name, several of one name in their order; `before`: an older one. */
export interface Unsent {
  at: number;
  values: Record<string, string[]>;
  before?: Unsent | undefined;
}

const KEPT_MS = 7 * 24 * 3600 * 1000;
const NEVER = new Set(["password", "file", "hidden", "submit", "button", "reset", "image"]);
const SECRET = /password|one-time-code|cc-/;
const PREFIX = "unsent ";

/** Return the fields of a form that may be kept: no passwords, codes or files; none where a password is asked for. */
export function fields(form: HTMLFormElement): Field[] {
  if (form.querySelector("input[type=password], [autocomplete~=one-time-code]")) return [];
  const found = [...form.querySelectorAll<Field>("input[name], select[name], textarea[name]")];
  return found.filter((field) => !NEVER.has(field.type) && !SECRET.test(field.getAttribute("autocomplete") ?? ""));
}

function ticked(field: Field): field is HTMLInputElement {
  return field.type === "checkbox" || field.type === "radio";
}

/** Return what stands in a form now. */
export function values(form: HTMLFormElement): Record<string, string[]> {
  const found: Record<string, string[]> = {};
  for (const field of fields(form)) {
    const text = ticked(field) ? (field.checked ? "on" : "") : field.value;
    (found[field.name] ??= []).push(text);
  }
  return found;
}

/** Say whether two states of a form are the same. */
export function same(one: Record<string, string[]>, other: Record<string, string[]>): boolean {
  return JSON.stringify(Object.entries(one).sort()) === JSON.stringify(Object.entries(other).sort());
}

/** Say whether something was typed that does not stand in a form, as it does in one that was refused and comes back. */
export function brings(kept: Record<string, string[]>, stands: Record<string, string[]>): boolean {
  return Object.entries(kept).some(([name, texts]) => texts.some((text, n) => text !== "" && text !== stands[name]?.[n]));
}

/** Put values back into a form; what it has no field for any more is passed over. */
export function putBack(form: HTMLFormElement, kept: Record<string, string[]>): void {
  const left = new Map(Object.entries(kept).map(([name, texts]) => [name, [...texts]]));
  for (const field of fields(form)) {
    const text = left.get(field.name)?.shift();
    if (text === undefined) continue;
    if (ticked(field)) field.checked = text === "on";
    else field.value = text;
    for (const kind of ["input", "change"]) field.dispatchEvent(new Event(kind, { bubbles: true }));
  }
}

/** Return under what a form's text is kept: whose it is, and where the form goes. */
export function keyOf(who: string, form: HTMLFormElement, page: string): string {
  return `${PREFIX}${who} ${form.getAttribute("action") || page}`;
}

/** Return what is kept under a key; what is older than a week is dropped. */
export function load(storage: Storage, key: string, now: number): Unsent | undefined {
  try {
    const found = JSON.parse(storage.getItem(key) ?? "null") as Unsent | null;
    if (found !== null && now - found.at <= KEPT_MS) return found;
  } catch {
    // Somebody else's or half written: as good as nothing.
  }
  storage.removeItem(key);
  return undefined;
}

/** Keep what stands in a form; a full or forbidden storage keeps nothing, and the form works as ever. */
export function save(storage: Storage, key: string, unsent: Unsent): void {
  try {
    storage.setItem(key, JSON.stringify(unsent));
  } catch {
    // Nothing to be done about it here.
  }
}

/** Forget all that somebody has typed. */
export function forget(storage: Storage, who: string): void {
  const keys = Array.from({ length: storage.length }, (_, n) => storage.key(n) ?? "");
  for (const key of keys) if (key.startsWith(`${PREFIX}${who} `)) storage.removeItem(key);
}
