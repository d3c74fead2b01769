import assert from "node:assert/strict";
import { test } from "node:test";
import { all } from "./common.ts";
import { fakePage } from "./fake_page.ts";
import { changed } from "./settings.ts";

test("a field is changed when it holds something else than it came with, and no more when that is undone", () => {
  fakePage('<input value="12"><select><option>yes</option><option selected>no</option></select>');
  const [input, select] = all<HTMLInputElement>("input, select");
  assert(input && select);
  assert.deepEqual([input, select].map(changed), [false, false]);
  input.value = "13";
  select.value = "yes";
  assert.deepEqual([input, select].map(changed), [true, true]);
  input.value = "12";
  select.value = "no";
  assert.deepEqual([input, select].map(changed), [false, false]);
});
