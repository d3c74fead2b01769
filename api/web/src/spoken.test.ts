import assert from "node:assert/strict";
import { test } from "node:test";
import { spoken, spokenFor } from "./spoken.ts";

test("without a catalogue a text stays English, with its values in it", () => {
  assert.equal(spoken("{n} of {all} on the van", { n: 2, all: 9 }), "2 of 9 on the van");
  assert.equal(spoken("by {nobody}"), "by {nobody}");
});

test("one and several have texts of their own", () => {
  assert.equal(spokenFor("{n} note waits", "{n} notes wait", 1), "1 note waits");
  assert.equal(spokenFor("{n} note waits", "{n} notes wait", 3), "3 notes wait");
});
