import assert from "node:assert/strict";
import { test } from "node:test";
import { pinched } from "./drawing.ts";
import type { Entry } from "./queue.ts";
import { smaller } from "./shrink.ts";
import { nextAtLift } from "./lift.ts";
import { aboutWords, changes, expectedLiftWords, expectedWords, loadChanges, newer, withWaiting, type DayState } from "./state.ts";
import { sentence } from "./view.ts";

const EMPTY: DayState = {
  now: "2027-04-12T12:00:00+00:00", posted: 1, posted_at: "", stops: [], ticks: { "J-1": ["crate: hood"] }, loaded: [],
  out: null, steps: { "J-1": {} }, results: {}, photos: { "J-1": [] }, times: {},
};

function noted(what: string, body: Record<string, unknown>, refused = false): Entry {
  const refusal = { status: 409, kind: "", title: "", detail: "" };
  return { n: 1, key: "k", page: "/p", thing: "t", path: `/p/${what}`, body, words: "", tries: 0, ...(refused ? { refusal } : {}) };
}

test("what waits is shown as done, what was refused is not", () => {
  const state = withWaiting(EMPTY, [
    noted("ticks", { visit: "J-1", items: ["shelf: shim", "crate: awning"], on: true }),
    noted("ticks", { visit: "J-1", items: ["crate: hood"], on: false }),
    noted("steps", { visit: "J-1", step: "pitch", signed: true, note: "13 degrees" }),
    noted("steps", { visit: "J-1", step: "level line", signed: true, note: "" }),
    noted("steps", { visit: "J-1", step: "level line", signed: false, note: "" }),
    noted("results", { visit: "J-1", outcome: "partly", start: 540, end: 600, why: "rain", replaces: null }),
    noted("out", { at: "2027-04-12T12:30:00Z", overruled_by: "", overruled_why: "" }),
    noted("back", { at: "2027-04-12T22:30:00Z" }, true),
  ]);
  assert.deepEqual(state.ticks["J-1"], ["crate: awning", "shelf: shim"]);
  assert.deepEqual(state.steps["J-1"], { pitch: { note: "13 degrees", by: "" } });
  assert.equal(state.results["J-1"]?.why, "rain");
  assert.deepEqual([state.out?.out_at, state.out?.back_at], ["2027-04-12T12:30:00Z", null]);
  assert.deepEqual(EMPTY.ticks["J-1"], ["crate: hood"]);
});

test("a lift is noted by one tap after the other, or by one for both, and taken back", () => {
  const lifts = { "J-1": { mine: {}, theirs: { here: "09:00" } } };
  const after = (...bodies: [string, boolean, string][]): Record<string, string> | undefined =>
    withWaiting({ ...EMPTY, lift_times: lifts }, bodies.map(([what, on, at]) => noted("lifts", { visit: "J-1", what, noted: on, at })))
      .lift_times?.["J-1"]?.mine;
  assert.deepEqual(after(["here", true, "9:01"], ["here", true, "9:02"]), { here: "9:01" });
  assert.deepEqual(after(["here", true, "9:01"], ["over", true, "9:30"]), { here: "9:01", over: "9:30" });
  assert.deepEqual(after(["over", true, "9:30"]), { here: "9:30", over: "9:30" });
  assert.deepEqual(after(["here", true, "9:01"], ["over", true, "9:30"], ["over", false, "9:31"]), { here: "9:01" });
  assert.deepEqual(after(["over", true, "9:30"], ["here", false, "9:31"]), {});
  const seen = [[], [["here", true, "9:01"]], [["over", true, "9:30"]]] as [string, boolean, string][][];
  assert.deepEqual(seen.map((bodies) => nextAtLift({ mine: after(...bodies) ?? {}, theirs: {} })), ["here", "over", "on"]);
  assert.deepEqual(lifts["J-1"].mine, {});
});

test("a lift and a load are told by their new hour, a lift until either crew has noted it", () => {
  const one = { start: 640, end: 670, late_min: 40, state: "ahead" };
  const expected = { visits: {}, lifts: { "J-1": one }, second_crews: { "J-2": one }, loads: { "2": one }, back: 900, rest: null };
  const state: DayState = { ...EMPTY, expected };
  const words = "now about 10:40, 40 min later than planned";
  assert.deepEqual([expectedLiftWords(state, "J-1"), expectedLiftWords(state, "J-2"), aboutWords(one)], [words, words, words]);
  assert.equal(expectedLiftWords(state, "J-3"), "");
  const noted = (mine: Record<string, string>, theirs: Record<string, string>): DayState => ({ ...state, lift_times: { "J-1": { mine, theirs } } });
  assert.equal(expectedLiftWords(noted({ here: "9:01" }, {}), "J-1"), "");
  assert.equal(expectedLiftWords(noted({}, { here: "9:01" }), "J-1"), "");
  assert.equal(aboutWords({ ...one, late_min: 5 }), "");
});

test("a new posting is told load by load", () => {
  const [before, now] = [[{ load: 2, start: 700, end: 725 }], [{ load: 2, start: 720, end: 745 }, { load: 3, start: 900, end: 925 }]];
  assert.deepEqual(loadChanges({ ...EMPTY, loads: before }, { ...EMPTY, loads: now }), [
    "Load 2 is now at 12:00, was 11:40.", "Load 3 is taken on in the yard at 15:00.",
  ]);
  assert.deepEqual(loadChanges({ ...EMPTY, loads: now }, { ...EMPTY, loads: before }).at(-1), "There is no load 3 any more.");
  assert.deepEqual(loadChanges(EMPTY, EMPTY), []);
});

test("a reason typed and left where the work was done after all is none", () => {
  const state = withWaiting(EMPTY, [noted("results", { visit: "J-1", outcome: "done", why: "rain" })]);
  assert.equal(state.results["J-1"]?.why, "");
});

test("of two states the later told counts", () => {
  const later = { ...EMPTY, now: "2027-04-12T12:00:01+00:00" };
  assert.equal(newer(later, EMPTY), later);
  assert.equal(newer(EMPTY, later), later);
  assert.equal(newer(undefined, EMPTY), EMPTY);
});

test("a new posting is told stop by stop", () => {
  const before = [{ visit: "A", start: 540, end: 600 }, { visit: "B", start: 660, end: 700 }, { visit: "D", start: 800, end: 900 }];
  const now = [{ visit: "A", start: 555, end: 615 }, { visit: "C", start: 780, end: 800 }, { visit: "D", start: 800, end: 930 }];
  assert.deepEqual(changes(before, now), [
    "A is now at 9:15, was 9:00.", "C has come to this day, at 13:00.", "D is now planned until 15:30, was 15:00.",
    "B is no longer on this day.",
  ]);
  assert.deepEqual(changes(before, before), []);
});

test("two fingers apart are nearer, never below the whole and never beyond use", () => {
  assert.equal(pinched(1, 100, 200), 2);
  assert.equal(pinched(2, 200, 50), 1);
  assert.equal(pinched(4, 100, 900), 6);
  assert.equal(pinched(2, 0, 50), 2);
});

test("photos keep their shape and are never made larger", () => {
  assert.deepEqual(smaller(3000, 2000), { width: 1600, height: 1067 });
  assert.deepEqual(smaller(2000, 4000), { width: 800, height: 1600 });
  assert.deepEqual(smaller(640, 480), { width: 640, height: 480 });
  assert.deepEqual(smaller(9000, 2), { width: 1600, height: 1 });
});

test("the other side's words are told without what nobody can use", () => {
  const current = { id: 4, outcome: "not_done", why: "rain", start: 545, end: null, noted_by: "lorn", crew_id: "north-1" };
  assert.equal(sentence(current), "not done, because rain, begun 9:05, by lorn");
  assert.equal(sentence(undefined), "");
});

test("a visit's new time stands beside the planned one, until the crew is there", () => {
  const expected = { visits: { "J-1": { start: 590, end: 650, late_min: 40, state: "ahead" } }, back: 900, rest: null };
  const late = { ...EMPTY, expected };
  assert.equal(expectedWords(late, "J-1"), "now about 9:50, 40 min later than planned");
  assert.equal(expectedWords(late, "J-2"), "");
  assert.equal(expectedWords({ ...late, times: { "J-1": { here: "2027-04-12T14:50:00Z" } } }, "J-1"), "");
  const sooner = { ...expected, visits: { "J-1": { start: 530, end: 590, late_min: -20, state: "ahead" } } };
  assert.equal(expectedWords({ ...EMPTY, expected: sooner }, "J-1"), "now about 8:50, 20 min sooner than planned");
  const close = { ...expected, visits: { "J-1": { start: 553, end: 613, late_min: 3, state: "ahead" } } };
  assert.equal(expectedWords({ ...EMPTY, expected: close }, "J-1"), "");
});

test("pieces lost on site stand once, with the pieces noted first, and can be taken back", () => {
  const broken = { visit: "J-1", item: "bracket", what: "broken", pieces: 2, noted: true };
  const state = withWaiting(EMPTY, [noted("losses", broken), noted("losses", { ...broken, pieces: 1 })]);
  assert.deepEqual(state.losses?.["J-1"], [{ item: "bracket", what: "broken", pieces: 2 }]);
  const back = withWaiting(state, [noted("losses", { ...broken, noted: false })]);
  assert.deepEqual(back.losses?.["J-1"], []);
});

test("a load of mid-day is noted once, loaded after it was come to, and taken back one by one", () => {
  const tell = (what: string, at: string, more = {}): Entry => noted("loads", { load: 2, what, noted: true, at, ...more });
  const loaded = withWaiting(EMPTY, [tell("here", "A"), tell("here", "B"), tell("loaded", "C", { overruled_by: "Odile", overruled_why: "no room" }), tell("loaded", "D")]);
  assert.deepEqual(loaded.load_times?.["2"], { here: "A", loaded: "C", overruled_by: "Odile", overruled_why: "no room" });
  const one = withWaiting(loaded, [tell("loaded", "E", { noted: false })]);
  assert.deepEqual(one.load_times?.["2"], { here: "A" });
  assert.deepEqual(withWaiting(one, [tell("here", "F", { noted: false })]).load_times?.["2"], {});
  assert.deepEqual(withWaiting(EMPTY, [tell("loaded", "G")]).load_times?.["2"], { here: "G", loaded: "G", overruled_by: "", overruled_why: "" });
});
