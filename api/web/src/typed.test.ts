import assert from "node:assert/strict";
import { test } from "node:test";
import { fieldsOf, recall, remember, rowNumbers, same, type Typed } from "./typed.ts";

class Shelf {
  readonly #held = new Map<string, string>();
  readonly #most: number;
  constructor(most = 5000) {
    this.#most = most;
  }
  getItem = (key: string): string | null => this.#held.get(key) ?? null;
  setItem = (key: string, value: string): void => {
    if (value.length > this.#most) throw new DOMException("full", "QuotaExceededError");
    this.#held.set(key, value);
  };
}

const TYPED: Typed = { fields: { "wall.members.0": "16 in" }, version: "3", base: "{}", at: "2027-04-08T09:00:00Z" };

test("what the page carries for itself is not what was typed", () => {
  const data = new FormData();
  for (const name of ["csrf", "awning", "version", "base", "awning.width"]) data.append(name, "x");
  assert.deepEqual(fieldsOf(data), { "awning.width": "x" });
});

test("an empty field is like none", () => {
  assert.ok(same({ a: "1", b: "" }, { a: "1" }));
  assert.ok(!same({ a: "1" }, { a: "2" }));
  assert.ok(!same({ a: "1" }, { a: "1", c: "3" }));
});

test("rows are found by their numbers, in order", () => {
  const fields = { "doors.10.left": "", "doors.2.left": "", "doors.2.top": "", "doors.x.top": "", "doorstep.1": "" };
  assert.deepEqual(rowNumbers(fields, "doors"), [2, 10]);
});

test("what was typed is found again, and what cannot be read is nothing", () => {
  const shelf = new Shelf() as unknown as Storage;
  assert.equal(recall(shelf, "a"), null);
  assert.ok(remember(shelf, "a", TYPED));
  assert.deepEqual(recall(shelf, "a"), TYPED);
  shelf.setItem("b", "{not json");
  assert.equal(recall(shelf, "b"), null);
  shelf.setItem("c", '{"fields": 3}');
  assert.equal(recall(shelf, "c"), null);
});

test("a full device is told, not thrown", () => {
  assert.ok(!remember(new Shelf(10) as unknown as Storage, "a", TYPED));
});
