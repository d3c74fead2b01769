import assert from "node:assert/strict";
import { beforeEach, test } from "node:test";
import { fakePage, fakeService } from "./fake_page.ts";
import { renew } from "./renewed.ts";

const PAGE = '<input id="words" value="half wri"><div id="answer">Nothing yet</div><div id="weeks"><a href="/weeks/1">1</a></div>';
const NEWER = '<main><input id="words" value=""><div id="answer">9 h free</div><div id="weeks"><a href="/weeks/0">0</a><a href="/weeks/1">1 new</a></div></main>';

const page = (html: string, status = 200): Response => new Response(html, { status, headers: { "Content-Type": "text/html" } });
const text = (id: string): string | undefined => document.getElementById(id)?.textContent ?? undefined;

beforeEach(() => {
  const window = fakePage(PAGE);
  for (const name of ["DOMParser", "location"] as const) {
    Object.defineProperty(globalThis, name, { value: window[name], configurable: true, writable: true });
  }
});

test("what is named is new, and what somebody is writing stays with the focus", async () => {
  document.getElementById("words")?.focus();
  const sent = fakeService(page(NEWER));
  assert.equal(await renew(["answer", "weeks"]), true);
  assert.equal(sent[0]?.path, "/");
  assert.deepEqual([text("answer"), text("weeks")], ["9 h free", "01 new"]);
  assert.equal((document.activeElement as HTMLInputElement).value, "half wri");
});

test("a link keeps the focus", async () => {
  document.querySelector<HTMLElement>("#weeks a")?.focus();
  fakeService(page(NEWER));
  await renew(["weeks"]);
  assert.equal(document.activeElement?.textContent, "1 new");
});

test("an answer that is not the page changes nothing", async () => {
  for (const other of [page(NEWER, 500), page("<main>Sign in</main>")]) {
    fakeService(other);
    assert.equal(await renew(["answer", "weeks"]), false);
    assert.equal(text("answer"), "Nothing yet");
  }
});
