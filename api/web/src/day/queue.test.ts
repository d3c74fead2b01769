import assert from "node:assert/strict";
import { test } from "node:test";
import { allTheSame, handIn, sendAll, signalWords, type Entry, type Note, type Reply, type Store, type Transport } from "./queue.ts";

const PAGE = "/crews/north-1/days/2027-04-12";

/** A queue in memory that behaves as the browser's does. */
function memory(...first: Partial<Note>[]): Store & { entries: Entry[] } {
  let last = 0;
  const store = {
    entries: [] as Entry[],
    async add(note: Note): Promise<Entry> {
      const entry = { ...note, n: ++last, tries: 0 };
      store.entries.push(entry);
      return entry;
    },
    all: async () => store.entries.map((entry) => ({ ...entry })),
    async put(entry: Entry): Promise<void> {
      store.entries = store.entries.map((old) => (old.n === entry.n ? entry : old));
    },
    async remove(n: number): Promise<void> {
      store.entries = store.entries.filter((entry) => entry.n !== n);
    },
  };
  for (const [n, note] of first.entries()) {
    void store.add({ key: `key-${n + 1}`, page: PAGE, thing: `thing ${n + 1}`, path: `${PAGE}/steps`, body: {}, words: `note ${n + 1}`, ...note });
  }
  return store;
}

const ok: Reply = { status: 200, document: {} };
const none: Reply = { status: 0, document: {} };
const refused = (kind: string, status = 409, more: object = {}): Reply => ({
  status,
  document: { type: `/problems/${kind}`, title: "No", detail: `refused: ${kind}`, ...more },
});

/** A service that answers each note by its key, in turn where several answers are given; what it got is in `got`. */
function service(answers: Record<string, Reply[]>, mayWrite: boolean | Error = true): Transport & { got: string[] } {
  const got: string[] = [];
  return {
    got,
    async post(entry) {
      got.push(entry.key);
      return answers[entry.key]?.shift() ?? ok;
    },
    async mayWrite() {
      if (mayWrite instanceof Error) throw mayWrite;
      return mayWrite;
    },
  };
}

test("notes go in order, once each, and leave the queue", async () => {
  const [store, to, sent] = [memory({}, {}, {}), service({}), [] as string[]];
  assert.equal(await sendAll(store, PAGE, to, (entry) => void sent.push(entry.words)), "through");
  assert.deepEqual(to.got, ["key-1", "key-2", "key-3"]);
  assert.deepEqual(sent, ["note 1", "note 2", "note 3"]);
  assert.deepEqual(store.entries, []);
});

test("without signal nothing is lost, and the same key goes again", async () => {
  const [store, to] = [memory({}, {}), service({ "key-1": [none, none, ok] })];
  assert.equal(await sendAll(store, PAGE, to), "no signal");
  assert.equal(await sendAll(store, PAGE, to), "no signal");
  assert.deepEqual(to.got, ["key-1", "key-1"]);
  assert.equal(await sendAll(store, PAGE, to), "through");
  assert.deepEqual(to.got.slice(2), ["key-1", "key-2"]);
});

test("a refused note is kept with both sides' words; later ones of its thing wait, those of others go", async () => {
  const store = memory({ thing: "a" }, { thing: "a" }, { thing: "b" });
  const to = service({ "key-1": [refused("changed-meanwhile", 409, { current: { why: "rain" }, sent: { why: "hail" } })] });
  assert.equal(await sendAll(store, PAGE, to), "through");
  assert.deepEqual(to.got, ["key-1", "key-3"]);
  assert.deepEqual(store.entries.map((entry) => entry.key), ["key-1", "key-2"]);
  assert.deepEqual(store.entries[0]?.refusal, {
    status: 409, kind: "changed-meanwhile", title: "No", detail: "refused: changed-meanwhile",
    current: { why: "rain" }, sent: { why: "hail" },
  });
  assert.equal(await sendAll(store, PAGE, to), "through"); // until the crew decides
  assert.deepEqual(to.got, ["key-1", "key-3"]);
  await store.remove(1);
  assert.equal(await sendAll(store, PAGE, to), "through");
  assert.deepEqual(to.got, ["key-1", "key-3", "key-2"]);
});

for (const [status, kind] of [[412, "changed-meanwhile"], [422, "bad-input"], [413, ""], [415, ""]] as const) {
  test(`a ${status} is a refusal, never dropped`, async () => {
    const store = memory({});
    await sendAll(store, PAGE, service({ "key-1": [refused(kind, status)] }));
    assert.equal(store.entries[0]?.refusal?.status, status);
  });
}

test("signed out, link over or revoked: all is kept, nothing is refused", async () => {
  const cases: [Reply, boolean][] = [
    [refused("", 401), true], [refused("form-expired", 403), true], [refused("", 403), false], [refused("", 404), false],
  ];
  for (const [reply, mayWrite] of cases) {
    const store = memory({}, {});
    assert.equal(await sendAll(store, PAGE, service({ "key-1": [reply] }, mayWrite)), "signed out");
    assert.deepEqual(store.entries.map((entry) => entry.refusal), [undefined, undefined]);
  }
});

test("a 404 of somebody who may write here is about the note itself", async () => {
  const store = memory({}, {});
  assert.equal(await sendAll(store, PAGE, service({ "key-1": [refused("", 404)] }, true)), "through");
  assert.deepEqual(store.entries.map((entry) => entry.refusal?.status), [404]);
  const other = memory({});
  assert.equal(await sendAll(other, PAGE, service({ "key-1": [refused("", 404)] }, new TypeError("gone"))), "no signal");
  assert.equal(other.entries[0]?.refusal, undefined);
});

test("a service that fails is asked again, and at last lets the others by", async () => {
  const broken: Reply = { status: 500, document: {} };
  const store = memory({}, {});
  const to = service({ "key-1": [none, none, none, none, none, none, ...Array<Reply>(9).fill(broken)] });
  for (let n = 0; n < 10; n++) assert.equal(await sendAll(store, PAGE, to), "no signal");
  assert.equal(await sendAll(store, PAGE, to), "through");
  assert.equal(to.got.at(-1), "key-2");
  assert.equal(store.entries[0]?.refusal?.status, 500);
  const behind = memory({});
  assert.equal(await sendAll(behind, PAGE, service({ "key-1": Array<Reply>(9).fill({ status: 502, document: {} }) })), "no signal");
  assert.equal(await sendAll(behind, PAGE, service({ "key-1": [refused("under-way")] })), "no signal");
  assert.equal(behind.entries[0]?.refusal, undefined);
});

test("what corrects a note that has not been sent replaces it once it has", async () => {
  const store = memory({ path: `${PAGE}/results`, body: { replaces: null } }, { thing: "x", corrects: "key-1", body: { replaces: null } });
  const bodies: unknown[] = [];
  const to: Transport = {
    async post(entry) {
      bodies.push(entry.body["replaces"]);
      return { status: 201, document: { id: 7 } };
    },
    mayWrite: async () => true,
  };
  await sendAll(store, PAGE, to);
  assert.deepEqual(bodies, [null, 7]);
});

test("notes of another day sheet are not sent from this one", async () => {
  const [store, to] = [memory({ page: "/crews/north-2/days/2027-04-12" }, {}), service({})];
  await sendAll(store, PAGE, to);
  assert.deepEqual(to.got, ["key-2"]);
  assert.deepEqual(store.entries.map((entry) => entry.key), ["key-1"]);
});

test("all the same: the crew knows of the move, or of the other's result", () => {
  const note = memory({ body: { visit: "J-1", replaces: null } }).entries[0] as Entry;
  const refusal = { status: 409, title: "", detail: "" };
  assert.deepEqual(allTheSame({ ...note, refusal: { ...refusal, kind: "moved" } }), { visit: "J-1", replaces: null, although_moved: true });
  assert.deepEqual(allTheSame({ ...note, refusal: { ...refusal, kind: "changed-meanwhile", current: { id: 4 } } }), { visit: "J-1", replaces: 4 });
  assert.deepEqual(allTheSame({ ...note, refusal: { ...refusal, kind: "not-now" } }), note.body);
});

test("how it stands is said plainly", () => {
  assert.equal(signalWords(3, 0, "no signal", "9:12"), "No signal, 3 notes wait");
  assert.equal(signalWords(0, 0, "no signal", "9:12"), "No signal, nothing waits");
  assert.equal(signalWords(0, 0, "through", "9:40"), "All sent 9:40");
  assert.equal(signalWords(0, 0, "through", ""), "Nothing to send");
  assert.equal(signalWords(1, 0, "signed out", ""), "Signed out, 1 note waits");
  assert.equal(signalWords(2, 1, "sending", ""), "Sending 2 notes. 1 note was not taken: see below");
  assert.equal(signalWords(0, 2, "through", "9:40"), "2 notes were not taken: see below");
});

test("what was noted on other days of the crew is handed in where this phone may, and other crews' is not", async () => {
  const [before, closed, others] = [PAGE.replace("-12", "-11"), PAGE.replace("-12", "-01"), PAGE.replace("north-1", "north-2")];
  const store = memory({ page: before }, {}, { page: closed }, { page: others });
  const to = { ...service({}), mayWrite: async (page: string) => page !== closed };
  await handIn(store, PAGE, to);
  assert.deepEqual(to.got, ["key-1"]);
  assert.deepEqual(store.entries.map((entry) => entry.key), ["key-2", "key-3", "key-4"]);
});

test("without signal nothing is handed in, nor lost", async () => {
  const store = memory({ page: PAGE.replace("-12", "-10") }, { page: PAGE.replace("-12", "-11") });
  await handIn(store, PAGE, service({}, new TypeError("no signal")));
  const to = service({ "key-1": [none] });
  await handIn(store, PAGE, to);
  assert.deepEqual(to.got, ["key-1"]);
  assert.equal(store.entries.length, 2);
});
