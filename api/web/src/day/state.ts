// How far a crew's day is: as the service told it last, and with what has been noted here since.
import { spoken } from "../spoken.ts";
import { clock } from "../words.ts";
import type { Entry } from "./queue.ts";

export interface Result {
  id: number | null;
  outcome: string;
  start: number | null;
  end: number | null;
  why: string;
  noted_by: string;
}

export interface Out {
  out_at: string;
  out_by: string;
  not_loaded: string[];
  overruled_by: string;
  overruled_why: string;
  back_at: string | null;
}

export interface Stop {
  visit: string;
  start: number;
  end: number;
}

/** When something still to come is expected; minutes after midnight, `late_min` below 0: sooner than planned. */
export interface ToCome {
  start: number;
  end: number;
  late_min: number;
  state: string;
}

/** When what is still to come is expected: visits, lifts at others' and second crews by visit, loads by number. */
export interface ExpectedDay {
  visits: Record<string, ToCome>;
  lifts?: Record<string, ToCome>;
  loads?: Record<string, ToCome>;
  second_crews?: Record<string, ToCome>;
  back: number;
  rest: number | null;
}

export interface Loss {
  item: string;
  what: string;
  pieces: number;
}

export interface LiftNotes {
  mine: Record<string, string>;
  theirs: Record<string, string>;
}

/** When a crew was in its yard for a load, and had it on the van, as moments; and who let it leave without what. */
export interface LoadNotes {
  here?: string;
  loaded?: string;
  not_loaded?: string[];
  overruled_by?: string;
  overruled_why?: string;
}

/** What GET …/state gives. */
export interface DayState {
  now: string;
  posted: number;
  posted_at: string;
  stops: Stop[];
  /** Where the crew helps another one with the lift, and when another comes to help with its own visits. */
  lifts?: Stop[];
  second_crews?: Stop[];
  /** Where the crew takes on another load in its yard, counted from 2. */
  loads?: { load: number; start: number; end: number }[];
  /** What is noted of these, by number. */
  load_times?: Record<string, LoadNotes>;
  /** Of these lifts by visit: when the second crew was there (`here`) and when that was over, by each crew's notes. */
  lift_times?: Record<string, LiftNotes>;
  ticks: Record<string, string[]>;
  loaded: string[];
  out: Out | null;
  steps: Record<string, Record<string, { note: string; by: string }>>;
  results: Record<string, Result>;
  /** When the crew set out for a visit (`on_way`) and came there (`here`), as moments. */
  times: Record<string, Record<string, string>>;
  photos: Record<string, { id: number; shows: string; caption: string; by: string }[]>;
  expected?: ExpectedDay | null;
  /** Pieces found missing or broken on site, by visit. */
  losses?: Record<string, Loss[]>;
  /** Who has signed for a visit. */
  signatures?: Record<string, { name: string; at: string }>;
}

const ON_TIME_MIN = 5;

/** Say when a visit is expected beside its planned time; empty where it goes as planned, has begun or is not known. */
export function expectedWords(state: DayState, visit: string): string {
  if (state.times?.[visit]?.["here"] !== undefined || state.results[visit] !== undefined) return "";
  return aboutWords(state.expected?.visits[visit]);
}

/** Say when a lift at which two crews meet is expected, likewise; empty once either crew has noted that it began. */
export function expectedLiftWords(state: DayState, visit: string): string {
  const { mine = {}, theirs = {} } = state.lift_times?.[visit] ?? {};
  if (mine["here"] !== undefined || theirs["here"] !== undefined) return "";
  return aboutWords(state.expected?.lifts?.[visit] ?? state.expected?.second_crews?.[visit]);
}

/** Say when something is expected beside its planned time; empty where it goes as planned, has begun or is not known. */
export function aboutWords(one: ToCome | undefined): string {
  if (one === undefined || one.state === "there" || Math.abs(one.late_min) <= ON_TIME_MIN) return "";
  const values = { time: clock(one.start), min: Math.abs(one.late_min) };
  return one.late_min > 0 ? spoken("now about {time}, {min} min later than planned", values) : spoken("now about {time}, {min} min sooner than planned", values);
}

/** Return the state once what `entry` notes has been done. */
export function after(state: DayState, entry: Entry): DayState {
  const { body } = entry;
  const visit = String(body["visit"] ?? "");
  switch (entry.path.split("/").at(-1)) {
    case "ticks": {
      const items = body["items"] as string[];
      const others = (state.ticks[visit] ?? []).filter((item) => !items.includes(item));
      return { ...state, ticks: { ...state.ticks, [visit]: body["on"] === true ? [...others, ...items].sort() : others } };
    }
    case "steps": {
      const { [String(body["step"])]: _, ...others } = state.steps[visit] ?? {};
      const step = { [String(body["step"])]: { note: String(body["note"] ?? ""), by: "" } };
      return { ...state, steps: { ...state.steps, [visit]: body["signed"] === true ? { ...others, ...step } : others } };
    }
    case "times": {
      const { [String(body["what"])]: before, ...others } = state.times?.[visit] ?? {};
      const noted = body["noted"] === true ? { ...others, [String(body["what"])]: before ?? String(body["at"]) } : others;
      return { ...state, times: { ...state.times, [visit]: noted } };
    }
    case "lifts": {
      const { mine = {}, theirs = {} } = state.lift_times?.[visit] ?? {};
      const at = String(body["at"]);
      const { here, over } = mine;
      const begun = { here: here ?? at };
      const noted = body["noted"] === true
        ? body["what"] === "over" ? { ...begun, over: over ?? at } : over === undefined ? begun : { ...begun, over }
        : body["what"] === "over" && here !== undefined ? { here } : {};
      return { ...state, lift_times: { ...state.lift_times, [visit]: { mine: noted, theirs } } };
    }
    case "loads": {
      const load = String(body["load"]);
      const at = String(body["at"]);
      const before = state.load_times?.[load] ?? {};
      const here = before.here ?? at;
      const by = { overruled_by: String(body["overruled_by"] ?? ""), overruled_why: String(body["overruled_why"] ?? "") };
      const noted: LoadNotes = body["noted"] === true
        ? body["what"] === "loaded" && before.loaded === undefined ? { here, loaded: at, ...by } : { ...before, here }
        : body["what"] === "loaded" && before.here !== undefined ? { here: before.here } : {};
      return { ...state, load_times: { ...state.load_times, [load]: noted } };
    }
    case "losses": {
      const { item, what, pieces } = body as unknown as Loss;
      const known = state.losses?.[visit] ?? [];
      const others = known.filter((one) => one.item !== item || one.what !== what);
      const before = known.find((one) => one.item === item && one.what === what);
      const noted = body["noted"] === true ? [...others, before ?? { item, what, pieces }] : others;
      return { ...state, losses: { ...state.losses, [visit]: noted } };
    }
    case "signatures": {
      const { [visit]: _, ...others } = state.signatures ?? {};
      const signed = { [visit]: { name: String(body["name"]), at: String(body["at"]) } };
      return { ...state, signatures: body["signed"] === true ? { ...others, ...signed } : others };
    }
    case "results": {
      const result: Result = {
        id: null,
        outcome: String(body["outcome"]),
        start: (body["start"] ?? null) as number | null,
        end: (body["end"] ?? null) as number | null,
        why: body["outcome"] === "done" ? "" : String(body["why"] ?? ""),
        noted_by: "",
      };
      return { ...state, results: { ...state.results, [visit]: result } };
    }
    case "out": {
      const out = {
        out_at: String(body["at"]), out_by: "", not_loaded: [], back_at: null,
        overruled_by: String(body["overruled_by"] ?? ""), overruled_why: String(body["overruled_why"] ?? ""),
      };
      return state.out === null ? { ...state, out } : state;
    }
    case "back":
      return state.out === null ? state : { ...state, out: { ...state.out, back_at: String(body["at"]) } };
    default:
      return state;
  }
}

/** Return the state with everything that waits; what was refused is not counted as done. */
export function withWaiting(state: DayState, entries: readonly Entry[]): DayState {
  return entries.filter((entry) => entry.refusal === undefined).reduce(after, state);
}

/** Return which of two states was told later; one may be missing. */
export function newer(one: DayState | undefined, other: DayState): DayState {
  return one !== undefined && Date.parse(one.now) > Date.parse(other.now) ? one : other;
}

/** Say what a new posting changes of the stops that the page shows, one sentence each; empty: nothing. */
export function changes(before: readonly Stop[], now: readonly Stop[]): string[] {
  const words: string[] = [];
  for (const stop of now) {
    const was = before.find((other) => other.visit === stop.visit);
    const { visit } = stop;
    const moved = (from: number, to: number): { visit: string; was: string; now: string } => ({ visit, was: clock(from), now: clock(to) });
    if (was === undefined) words.push(spoken("{visit} has come to this day, at {time}.", { visit, time: clock(stop.start) }));
    else if (was.start !== stop.start) words.push(spoken("{visit} is now at {now}, was {was}.", moved(was.start, stop.start)));
    else if (was.end !== stop.end) words.push(spoken("{visit} is now planned until {now}, was {was}.", moved(was.end, stop.end)));
  }
  for (const was of before) {
    if (!now.some((stop) => stop.visit === was.visit)) words.push(spoken("{visit} is no longer on this day.", { visit: was.visit }));
  }
  return words;
}

/** Say what a new posting changes of the loads that the crew takes on in mid-day, one sentence each; empty: nothing. */
export function loadChanges(before: DayState, now: DayState): string[] {
  const words: string[] = [];
  for (const { load, start } of now.loads ?? []) {
    const old = before.loads?.find((one) => one.load === load);
    if (old === undefined) words.push(spoken("Load {n} is taken on in the yard at {time}.", { n: load, time: clock(start) }));
    else if (old.start !== start) words.push(spoken("Load {n} is now at {now}, was {was}.", { n: load, now: clock(start), was: clock(old.start) }));
  }
  for (const { load } of before.loads ?? []) {
    if (!now.loads?.some((one) => one.load === load)) words.push(spoken("There is no load {n} any more.", { n: load }));
  }
  return words;
}

/** Say what a new posting changes of the lifts at which two crews meet, one sentence each; empty: nothing. */
export function liftChanges(before: DayState, now: DayState): string[] {
  const words: string[] = [];
  for (const [was, is] of [[before.lifts, now.lifts], [before.second_crews, now.second_crews]] as const) {
    for (const { visit, start } of is ?? []) {
      const old = was?.find((one) => one.visit === visit);
      if (old === undefined) words.push(spoken("{visit}: the lift with the other crew is at {time}.", { visit, time: clock(start) }));
      else if (old.start !== start) words.push(spoken("{visit}: the lift is now at {now}, was {was}.", { visit, now: clock(start), was: clock(old.start) }));
    }
    for (const { visit } of was ?? []) {
      if (!is?.some((one) => one.visit === visit)) words.push(spoken("{visit}: there is no lift with the other crew any more.", { visit }));
    }
  }
  return words;
}
