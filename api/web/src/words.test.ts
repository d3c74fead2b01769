import assert from "node:assert/strict";
import { test } from "node:test";
import { clock, dayName, dollars, duration } from "./words.ts";

test("values are written as the server writes them", () => {
  assert.deepEqual([0, 555, 1439].map(clock), ["0:00", "9:15", "23:59"]);
  assert.deepEqual([123_456, -99, 1250, 1350, 0].map(dollars), ["$1,235", "-$1", "$12", "$14", "$0"]);
  assert.deepEqual([45, 60, 220].map(duration), ["45 min", "1 h 00", "3 h 40"]);
  assert.deepEqual(["2027-04-12", "2027-11-07"].map(dayName), ["Mon Apr 12", "Sun Nov 7"]);
});
