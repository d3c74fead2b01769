// What every page's script uses: requests that answer in the service's own words, announcements, questions, elements.
import { newKey } from "./key.ts";
import { headingOf, kindOf } from "./problem.ts";
import { spoken } from "./spoken.ts";

export { newKey };

/** One faulty field of a problem document. */
export interface FieldFault {
  where: string;
  problem: string;
}

/** A refusal in the words of its problem document (RFC 9457); `status` is 0 where no answer came at all. */
export class Fault extends Error {
  override readonly name = "Fault";
  readonly status: number;
  readonly kind: string;
  readonly title: string;
  /** The faulty fields, if it was about fields. */
  readonly errors: readonly FieldFault[];
  /** The whole document: some kinds carry further members, such as `current` and `sent` of `changed-meanwhile`. */
  readonly members: Readonly<Record<string, unknown>>;

  constructor(status: number, document: Record<string, unknown>) {
    const { title, detail, type, errors } = document;
    const heading = headingOf(title, status);
    super(typeof detail === "string" && detail !== "" ? detail : heading);
    this.status = status;
    this.title = heading;
    this.kind = kindOf(type);
    this.errors = Array.isArray(errors) ? (errors as FieldFault[]) : [];
    this.members = document;
  }
}

/** How a request is sent: `key` makes a write repeatable, `ifMatch` is the ETag of the version that it changes. */
export interface How {
  key?: string;
  ifMatch?: string;
  signal?: AbortSignal;
}

/** An answer with what its headers say. */
export interface Answer<T> {
  status: number;
  data: T;
  etag: string | null;
  location: string | null;
}

type Method = "GET" | "POST" | "PUT" | "PATCH" | "DELETE";

/** Send a request and return the JSON of its answer (null where it has none); throws `Fault` with the refusal's words. */
export async function send<T = unknown>(method: Method, path: string, body?: unknown, how: How = {}): Promise<T> {
  return (await sendWhole<T>(method, path, body, how)).data;
}

/** As `send`, with the answer's status, ETag and Location. Forms and files go as they are, anything else as JSON. */
export async function sendWhole<T = unknown>(
  method: Method,
  path: string,
  body?: unknown,
  how: How = {},
): Promise<Answer<T>> {
  const headers = new Headers({ Accept: "application/json" });
  if (method !== "GET") headers.set("X-CSRF-Token", csrf());
  if (how.key !== undefined) headers.set("Idempotency-Key", how.key);
  if (how.ifMatch !== undefined) headers.set("If-Match", how.ifMatch);
  const init: RequestInit = { method, headers, credentials: "same-origin" };
  if (how.signal !== undefined) init.signal = how.signal;
  if (body !== undefined && body !== null) {
    if (body instanceof FormData || body instanceof URLSearchParams || body instanceof Blob) init.body = body;
    else {
      headers.set("Content-Type", "application/json");
      init.body = JSON.stringify(body);
    }
  }
  let answer: Response;
  try {
    answer = await fetch(path, init);
  } catch (fault) {
    if (fault instanceof DOMException && fault.name === "AbortError") throw fault;
    throw new Fault(0, { title: spoken("No connection"), detail: spoken("The service cannot be reached. Try again when it can.") });
  }
  const data = await json(answer);
  if (!answer.ok) {
    throw new Fault(answer.status, typeof data === "object" && data !== null ? (data as Record<string, unknown>) : {});
  }
  return {
    status: answer.status,
    data: data as T,
    etag: answer.headers.get("ETag"),
    location: answer.headers.get("Location"),
  };
}

async function json(answer: Response): Promise<unknown> {
  if (answer.status === 204 || !/[/+]json\b/.test(answer.headers.get("Content-Type") ?? "")) return null;
  return answer.json();
}

/** Return the token that writing requests carry, from the page's head. */
export function csrf(): string {
  return document.querySelector<HTMLMetaElement>('meta[name="csrf"]')?.content ?? "";
}

/** Show `text` at the foot of the page and have it read out when the reader pauses; the same text twice is read twice. */
export function say(text: string): void {
  const place = one("#said");
  place.replaceChildren();
  // A change from empty to words is what is announced.
  setTimeout(() => place.replaceChildren(text), 30);
}

/** Run `action`, and say what went wrong if the service refused; return whether it went well. */
export async function attempt(action: () => Promise<unknown>): Promise<boolean> {
  try {
    await action();
    return true;
  } catch (fault) {
    if (!(fault instanceof Fault)) throw fault;
    say(fault.message);
    return false;
  }
}

/** Ask a question in a dialog; true for `yes`. Escape and `no` are the same answer. */
export function ask(question: string, words: { yes: string; no?: string }): Promise<boolean> {
  const yes = make("button", { value: "yes", class: "yes" }, words.yes);
  const no = make("button", { value: "no" }, words.no ?? spoken("Leave it"));
  const dialog = make(
    "dialog",
    { class: "ask", "aria-labelledby": "asked" },
    make("form", { method: "dialog" }, make("p", { id: "asked" }, question), make("p", { class: "choice" }, yes, no)),
  );
  document.body.append(dialog);
  return new Promise((resolve) => {
    dialog.addEventListener("close", () => {
      dialog.remove();
      resolve(dialog.returnValue === "yes");
    });
    dialog.showModal();
    no.focus();
  });
}

/** Return the first element that `selector` finds under `root`; throws where there is none. */
export function one<E extends Element = HTMLElement>(selector: string, root: ParentNode = document): E {
  const element = root.querySelector<E>(selector);
  if (element === null) throw new Error(`the page has no ${selector}`);
  return element;
}

/** Return all elements that `selector` finds under `root`. */
export function all<E extends Element = HTMLElement>(selector: string, root: ParentNode = document): E[] {
  return [...root.querySelectorAll<E>(selector)];
}

/** Make an element with attributes (true: present, false: absent) and children; text is never read as markup. */
export function make<K extends keyof HTMLElementTagNameMap>(
  tag: K,
  attributes: Record<string, string | number | boolean> = {},
  ...children: (Node | string)[]
): HTMLElementTagNameMap[K] {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === true) element.setAttribute(name, "");
    else if (value !== false) element.setAttribute(name, String(value));
  }
  element.append(...children);
  return element;
}
