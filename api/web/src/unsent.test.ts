import assert from "node:assert/strict";
import { test } from "node:test";
import { all } from "./common.ts";
import { fakePage } from "./fake_page.ts";
import { brings, fields, forget, keyOf, load, putBack, same, save, values } from "./unsent.ts";

const DAY_MS = 24 * 3600 * 1000;

function form(body: string): HTMLFormElement {
  fakePage(`<form method="post" action="/set-up/people/new">${body}</form>`);
  const [found] = all<HTMLFormElement>("form");
  assert(found);
  return found;
}

test("what is typed is put back field by field, several of one name in their order", () => {
  const made = form(
    '<input name="name"><input name="day"><input name="day"><textarea name="note"></textarea>' +
      '<select name="kind"><option>install</option><option>survey</option></select><input type="checkbox" name="far">',
  );
  const empty = values(made);
  const kept = { name: ["Ada"], day: ["1", "2"], note: ["two\nlines"], kind: ["survey"], far: ["on"], gone: ["x"] };
  putBack(made, kept);
  const { gone: _, ...there } = kept;
  assert(same(values(made), there));
  assert(!same(values(made), empty));
});

test("secrets, files and what nobody types are never kept", () => {
  assert.deepEqual(fields(form('<input type="hidden" name="csrf" value="t"><input type="file" name="file">')), []);
  assert.deepEqual(fields(form('<input name="name"><input type="password" name="password">')), []);
  assert.deepEqual(fields(form('<input name="code" autocomplete="one-time-code">')), []);
});

test("each user's text is their own, is dropped after a week, and at signing out", () => {
  const made = form('<input name="name">');
  const storage = window.localStorage;
  const mine = keyOf("account 1", made, "/page");
  const other = keyOf("account 11", made, "/page");
  for (const key of [mine, other]) save(storage, key, { at: 0, values: { name: ["Ada"] } });
  assert.deepEqual(load(storage, mine, 6 * DAY_MS)?.values, { name: ["Ada"] });
  forget(storage, "account 1");
  assert.equal(load(storage, mine, 0), undefined);
  assert(load(storage, other, 0));
  assert.equal(load(storage, other, 8 * DAY_MS), undefined);
  storage.setItem(mine, "{half");
  assert.equal(load(storage, mine, 0), undefined);
});

test("what was typed and stands in the form that comes back brings nothing", () => {
  const typed = { name: ["Weir yard"], pin: [""], found: ["on", ""] };
  assert(!brings(typed, { name: ["Weir yard"], pin: ["41.0, -91.0"], found: ["on", ""], key: [""] }));
  assert(brings(typed, { name: ["Weir"], pin: [""], found: ["on", ""] }));
  assert(brings(typed, { pin: [""], found: ["on", ""] }));
});
