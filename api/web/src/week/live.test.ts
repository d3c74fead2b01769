import assert from "node:assert/strict";
import { test } from "node:test";
import { newsWords, type Standing } from "./live.ts";

const BEFORE: Standing = { plan: 1, by: "maud", how: "planned", posted: 1, falls: {}, at_risk: 0, older: "", answers: [] };

test("another's plan is told with the name, one's own is not", () => {
  const moved = { ...BEFORE, plan: 2, by: "olive", how: "moved" };
  assert.equal(newsWords(BEFORE, moved, "maud"), "olive has moved a visit.");
  assert.equal(newsWords(BEFORE, moved, "olive"), "");
});

test("what falls is told once, the first two with why", () => {
  const fallen = { ...BEFORE, falls: { "J-1": "1 × bracket missing.", "J-2": "No lead.", "J-3": "Wind." } };
  assert.equal(newsWords(BEFORE, fallen, "maud"), "J-1 can't go as posted: 1 × bracket missing. J-2 can't go as posted: No lead. 1 more can't go as posted.");
  assert.equal(newsWords(fallen, fallen, "maud"), "");
});

test("an answer is told to whoever told the message, once", () => {
  const answered = { ...BEFORE, answers: [{ text: 4, customer: "Odile Marrack", words: "Fine with us", to: "maud" }] };
  assert.equal(newsWords(BEFORE, answered, "maud"), "Odile Marrack answered: “Fine with us”");
  assert.equal(newsWords(answered, answered, "maud"), "");
  assert.equal(newsWords(BEFORE, answered, "olive"), "");
});
