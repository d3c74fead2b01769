import assert from "node:assert/strict";
import { beforeEach, test } from "node:test";
import { setTimeout as wait } from "node:timers/promises";
import { all, ask, attempt, Fault, make, newKey, one, say, send, sendWhole } from "./common.ts";
import { answer, fakePage, fakeService } from "./fake_page.ts";

beforeEach(() => {
  fakePage();
});

test("a write carries the page's token, its key and the version that it changes; a read carries none", async () => {
  const sent = fakeService(answer({ id: 7 }, 201, { ETag: '"2"', Location: "/jobs/7" }), answer([1]));
  const key = newKey();
  const made = await sendWhole<{ id: number }>("PATCH", "/jobs/7", { town: "Ash Fork" }, { key, ifMatch: '"1"' });
  assert.deepEqual(made, { status: 201, data: { id: 7 }, etag: '"2"', location: "/jobs/7" });
  assert.deepEqual(await send("GET", "/jobs"), [1]);
  const [write, read] = sent;
  assert.equal(write?.headers.get("X-CSRF-Token"), "t0ken");
  assert.equal(write.headers.get("Idempotency-Key"), key);
  assert.equal(write.headers.get("If-Match"), '"1"');
  assert.equal(write.headers.get("Content-Type"), "application/json");
  assert.equal(write.body, '{"town":"Ash Fork"}');
  assert.equal(read?.headers.get("X-CSRF-Token"), null);
  assert.equal(read.headers.get("Accept"), "application/json");
  assert.notEqual(newKey(), key);
});

test("a form goes as it is, so that the browser writes its borders", async () => {
  const sent = fakeService(new Response(null, { status: 204 }));
  const form = new URLSearchParams({ name: "J-1042" });
  assert.equal(await send("POST", "/bench", form), null);
  assert.equal(sent[0]?.body, form);
  assert.equal(sent[0].headers.get("Content-Type"), null);
});

test("a refusal is thrown in the words of the problem document", async () => {
  const document = {
    type: "/problems/changed-meanwhile",
    title: "Somebody else has changed this meanwhile",
    status: 412,
    detail: "Look at both versions.",
    errors: [{ where: "town", problem: "is missing" }],
    current: { town: "Ash Fork" },
  };
  fakeService(answer(document, 412));
  await assert.rejects(send("PUT", "/sites/1", {}), (fault: unknown) => {
    assert(fault instanceof Fault);
    assert.equal(fault.message, "Look at both versions.");
    assert.equal(fault.title, "Somebody else has changed this meanwhile");
    assert.equal(fault.kind, "changed-meanwhile");
    assert.equal(fault.status, 412);
    assert.deepEqual(fault.errors, document.errors);
    assert.deepEqual(fault.members.current, { town: "Ash Fork" });
    return true;
  });
});

test("no connection and an answer without words are faults that say so", async () => {
  fakeService(new Error("connection refused"), new Response("<h1>Bad gateway</h1>", { status: 502 }));
  await assert.rejects(send("GET", "/jobs"), { name: "Fault", status: 0, title: "No connection" });
  await assert.rejects(send("GET", "/jobs"), { name: "Fault", status: 502, message: "The service answered 502" });
});

test("what is said stands in the live region, the same words anew too", async () => {
  const changes: string[] = [];
  const place = one("#said");
  for (const _ of [1, 2]) {
    say("Kept.");
    changes.push(place.textContent);
    await wait(40);
    changes.push(place.textContent);
  }
  assert.deepEqual(changes, ["", "Kept.", "", "Kept."]);
});

test("an attempt says a refusal's words and lets our own mistakes through", async () => {
  fakeService(answer({ detail: "This kit is short." }, 409));
  assert.equal(await attempt(() => send("POST", "/kits/1/load")), false);
  await wait(40);
  assert.equal(one("#said").textContent, "This kit is short.");
  assert.equal(await attempt(async () => "done"), true);
  await assert.rejects(attempt(async () => one("#nowhere")), /no #nowhere/);
});

test("a question is answered by its buttons, and closing it is a no", async () => {
  for (const [press, expected] of [["yes", true], ["no", false], ["", false]] as const) {
    const answered = ask("Take J-1042 off the sheet?", { yes: "Take it off" });
    const dialog = one<HTMLDialogElement>("dialog.ask");
    assert.equal(one("#asked").textContent, "Take J-1042 off the sheet?");
    dialog.close(press); // what pressing a button of a form with method=dialog does
    assert.equal(await answered, expected);
    assert.equal(all("dialog").length, 0);
  }
});

test("an element is made of attributes and text that is never markup", () => {
  const item = make("li", { class: "short", hidden: true, draggable: false, tabindex: 0 }, "<b>2</b> × bracket", make("i"));
  assert.equal(item.outerHTML, '<li class="short" hidden="" tabindex="0">&lt;b&gt;2&lt;/b&gt; × bracket<i></i></li>');
});
