import assert from "node:assert/strict";
import { test } from "node:test";
import { change, kinds, sentence, split, type Tried } from "./verdict.ts";

const fine: Tried = { allowed: true, broken: [], cost_change_cents: 8400, by_kind: { travel: 9600, crews: -1200, late: 0 } };
const rule = { rule: "skills", sentence: "north-2 lacks masonry for J-1.", visit: "J-1", promise: false };
const promise = { rule: "booking", sentence: "J-2 is promised for Monday.", visit: "J-2", promise: true };

test("a change of cost says which way it goes", () => {
  assert.equal(change(8400), "$84 dearer");
  assert.equal(change(-123456), "$1,235 cheaper");
  assert.equal(change(49), "costs the same");
});

test("kinds of cost come largest first, those under a dollar not at all", () => {
  assert.equal(kinds({ travel: -1200, overtime: 9600, late: 10 }), "overtime +$96, travel -$12");
});

test("a broken rule is told before the cost, and a promise is not a rule", () => {
  assert.equal(sentence(fine), "Can go here. $84 dearer.");
  assert.equal(sentence({ ...fine, broken: [rule] }), "Cannot go here. north-2 lacks masonry for J-1.");
  assert.equal(sentence({ ...fine, broken: [promise] }), "Breaks a promise. J-2 is promised for Monday. $84 dearer.");
  assert.deepEqual(split({ ...fine, broken: [rule, promise] }), { rules: [rule.sentence], promises: [promise.sentence] });
});
