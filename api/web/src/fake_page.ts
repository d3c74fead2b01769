// A page for tests under node: a document without a browser, and a service that answers what the test tells it.
import { Window } from "happy-dom";

const NAMES = [
  "document", "HTMLElement", "HTMLDialogElement", "HTMLFormElement", "FormData", "Event", "KeyboardEvent", "MouseEvent", "CSS",
] as const;

/** Put a page with `body` in place of the globals that scripts use; everything that `base.html` has is there. */
export function fakePage(body = ""): Window {
  const window = new Window({ url: "http://board.test/" });
  window.document.head.innerHTML = '<meta name="csrf" content="t0ken">';
  window.document.body.innerHTML = `<main id="main">${body}</main><p id="said" role="status"></p>`;
  for (const name of NAMES) Object.defineProperty(globalThis, name, { value: window[name], configurable: true, writable: true });
  Object.defineProperty(globalThis, "window", { value: window, configurable: true, writable: true });
  return window;
}

/** A request as the service got it. */
export interface Sent {
  method: string;
  path: string;
  headers: Headers;
  body: BodyInit | null | undefined;
}

/** Have `fetch` answered by `answers` in their order (an Error: no connection); return what is sent, as it is sent. */
export function fakeService(...answers: (Response | Error)[]): Sent[] {
  const sent: Sent[] = [];
  globalThis.fetch = async (path, init = {}) => {
    sent.push({ method: init.method ?? "GET", path: String(path), headers: new Headers(init.headers), body: init.body });
    const answer = answers.shift() ?? new Error("the test has no more answers");
    if (answer instanceof Error) throw new TypeError(answer.message);
    return answer;
  };
  return sent;
}

/** Return an answer with `data` as JSON. */
export function answer(data: unknown, status = 200, headers: Record<string, string> = {}): Response {
  const type = status < 400 ? "application/json" : "application/problem+json";
  return new Response(JSON.stringify(data), { status, headers: { "Content-Type": type, ...headers } });
}
