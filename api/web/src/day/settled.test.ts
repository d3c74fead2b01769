import assert from "node:assert/strict";
import { test } from "node:test";
import { Settled } from "./settled.ts";

const rest = (ms: number): Promise<void> => new Promise((resolve) => setTimeout(resolve, ms));

test("what was read before a write that began meanwhile is read again", async () => {
  const settled = new Settled();
  const ticked: string[] = [];
  let reads = 0;
  const shown = settled.read(async () => {
    reads++;
    const now = [...ticked];
    await rest(10);
    return now;
  });
  await rest(2);
  await settled.write(rest(15).then(() => void ticked.push("kit")));
  assert.deepEqual(await shown, ["kit"]);
  assert.equal(reads, 2);
});

test("a write that fails keeps nobody from reading, and its fault is the writer's", async () => {
  const settled = new Settled();
  const writing = settled.write(rest(5).then(() => Promise.reject(new Error("no room"))));
  const shown = settled.read(() => Promise.resolve("as before"));
  await assert.rejects(writing, /no room/);
  assert.equal(await shown, "as before");
});

test("a reader waits for all that is being written", async () => {
  const settled = new Settled();
  const done: string[] = [];
  void settled.write(rest(20).then(() => void done.push("slow")));
  void settled.write(rest(1).then(() => void done.push("quick")));
  assert.deepEqual(await settled.read(() => Promise.resolve([...done])), ["quick", "slow"]);
});
