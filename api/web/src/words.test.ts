import assert from "node:assert/strict";
import { test } from "node:test";
import { clock, dollars, worded } from "./words.ts";

test("values are written as the server writes them", () => {
  assert.deepEqual([0, 555, 1439].map(clock), ["0:00", "9:15", "23:59"]);
  assert.deepEqual([123_456, -99, 1250, 1350, 0].map(dollars), ["$1,235", "-$1", "$12", "$14", "$0"]);
});

test("times and money are written as the business has chosen", () => {
  const page = { documentElement: { dataset: { clock: "12", currency: "€" } } };
  Object.assign(globalThis, { document: page });
  assert.deepEqual([clock(0), clock(555), clock(868), dollars(123450)], ["12:00 am", "9:15 am", "2:28 pm", "€1,234"]);
  assert.equal(worded("works from 8:00 to 17:30, $310 more"), "works from 8:00 am to 5:30 pm, €310 more");
  assert.equal(worded("there at 2:28 pm"), "there at 2:28 pm");
  assert.equal(worded("$1,710.62 worse, at most $8.50"), "€1,711 worse, at most €8.50");
  Object.assign(globalThis, { document: undefined });
  assert.equal(worded("from 8:00"), "from 8:00");
});
