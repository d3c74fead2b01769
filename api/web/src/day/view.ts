// The day sheet's page brought up to date: ticks, steps, results and photos as they stand, with what waits.
import { all, make, one } from "../common.ts";
import { nextAt, words } from "./flow.ts";
import { showLifts } from "./lift.ts";
import { showLoads } from "./load.ts";
import type { Entry } from "./queue.ts";
import { showSigned } from "./signature.ts";
import { expectedWords, type DayState, type Result } from "./state.ts";
import { spoken, spokenFor } from "../spoken.ts";
import { clock, worded } from "../words.ts";

export const OUTCOMES: Record<string, string> = { done: spoken("done"), partly: spoken("partly done"), not_done: spoken("not done") };
const SHOWS: Record<string, string> = { wall: spoken("wall"), zero: spoken("zero"), crate: spoken("crate"), work: spoken("work") };
export const LOSSES: Record<string, string> = { missing: spoken("missing"), broken: spoken("broken") };
export const WAITS = `○ ${spoken("not sent yet")}`;

/** Return a visit's section. */
export function section(visit: string): HTMLElement {
  return one(`#stop-${CSS.escape(visit)}`);
}

/** Return what a visit takes along, as it is ticked in the yard; undefined where that is nothing. */
export function kitOf(visit: string): HTMLElement | null {
  return document.querySelector<HTMLElement>(`[data-kit-of="${CSS.escape(visit)}"]`);
}

/** Return what a thing to tick is called on the page. */
export function tickName(visit: string, item: string): string {
  const box = all<HTMLInputElement>("[data-item]", kitOf(visit) ?? document).find((one) => one.dataset["item"] === item);
  return box?.dataset["name"] ?? item;
}

/** Return what a step is called on the page. */
export function stepName(line: HTMLElement): string {
  return one(".tick span", line).textContent ?? "";
}

/** Say whether all that a visit takes along is ticked; one without a list is. */
export function allTicked(visit: string): boolean {
  const kit = kitOf(visit);
  return kit === null || all<HTMLInputElement>("[data-item]", kit).every((box) => box.checked);
}

/** Say what of a load's kits is not on the van: every install with something unticked, or whose kit is not whole. */
export function notLoaded(load: string): string[] {
  return all(`.stop[data-kind=install][data-in-load="${load}"]`)
    .map((stop) => stop.dataset["visit"] ?? "")
    .filter((visit) => {
      const condition = kitOf(visit)?.querySelector<HTMLElement>("[data-condition]")?.dataset["is"] ?? "";
      return !allTicked(visit) || !["loaded", "verified"].includes(condition);
    });
}

/** Show `state` on the page; `waiting` are the notes that it holds and the service has not. */
export function show(state: DayState, waiting: readonly Entry[]): void {
  for (const stop of all(".stop")) {
    const visit = stop.dataset["visit"] ?? "";
    showTicks(visit, state);
    showNext(stop, visit, state);
    showSteps(stop, visit, state);
    const result = state.results[visit];
    const sent = !waiting.some((entry) => entry.path.endsWith("/results") && entry.body["visit"] === visit);
    one("[data-told]", stop).textContent = result === undefined ? "" : told(result) + (sent ? "" : ` ${WAITS}`);
    const how = document.querySelector(`[data-how="${CSS.escape(visit)}"]`);
    if (how !== null) how.textContent = result === undefined ? "" : result.outcome === "done" ? "✓" : "▲";
    showPhotos(stop, visit, state, waiting);
    showExpected(stop, visit, state);
    showLosses(stop, visit, state, waiting);
    const unsent = waiting.some((entry) => entry.path.endsWith("/signatures") && entry.body["visit"] === visit);
    showSigned(stop, visit, state, unsent ? ` ${WAITS}` : "");
  }
  showLifts(state, waiting);
  showLoads(state, waiting);
  showRoute(state, waiting);
  const back = document.querySelector("#back-expected");
  const home = state.out?.back_at ? undefined : state.expected?.back;
  if (back !== null) back.textContent = home === undefined ? "" : spoken("now expected back about {time}", { time: clock(home) });
}

function showLosses(stop: HTMLElement, visit: string, state: DayState, waiting: readonly Entry[]): void {
  const lost = state.losses?.[visit] ?? [];
  for (const line of all("[data-loss]", stop)) {
    for (const box of all<HTMLInputElement>("[data-lose]", line)) {
      const known = lost.find((one) => one.item === line.dataset["loss"] && one.what === box.dataset["lose"]);
      box.checked = known !== undefined;
      const pieces = line.querySelector<HTMLInputElement>("[data-pieces]");
      if (pieces !== null && known !== undefined) pieces.value = String(known.pieces);
    }
  }
  const count = stop.querySelector("[data-lost]");
  if (count === null) return;
  const waits = waiting.some((entry) => entry.path.endsWith("/losses") && entry.body["visit"] === visit) ? ` ${WAITS}` : "";
  const told = lost.map((one) => `${one.pieces} × ${itemName(stop, one.item)} ${LOSSES[one.what] ?? one.what}`).join(", ");
  count.textContent = told === "" ? "" : `▲ ${told}${waits}`;
}

/** Return what a thing of the crate is called on the page. */
export function itemName(stop: ParentNode, item: string): string {
  return stop.querySelector(`[data-loss="${CSS.escape(item)}"] b`)?.textContent ?? item;
}

function showExpected(stop: HTMLElement, visit: string, state: DayState): void {
  const words = expectedWords(state, visit);
  one("[data-expected]", stop).textContent = words;
  const rail = document.querySelector(`[data-now="${CSS.escape(visit)}"]`);
  const start = state.expected?.visits[visit]?.start;
  if (rail !== null) rail.textContent = words === "" || start === undefined ? "" : `→ ${clock(start)}`;
}

function told(result: Result): string {
  return `${result.outcome === "done" ? "✓" : "▲"} ${OUTCOMES[result.outcome] ?? result.outcome}${result.why === "" ? "" : `: ${result.why}`}`;
}

function showTicks(visit: string, state: DayState): void {
  const kit = kitOf(visit);
  if (kit === null) return;
  const ticked = new Set(state.ticks[visit] ?? []);
  const boxes = all<HTMLInputElement>("[data-item]", kit);
  for (const box of boxes) box.checked = ticked.has(box.dataset["item"] ?? "");
  const count = boxes.filter((box) => box.checked).length;
  one("[data-count]", kit).textContent = count === boxes.length ? `✓ ${count === 1 ? spoken("all on the van") : spoken("all {n} on the van", { n: count })}` : spoken("{n} of {all} on the van", { n: count, all: boxes.length });
  const left = document.querySelector(`[data-left="${CSS.escape(visit)}"]`);
  if (left !== null) left.textContent = count === boxes.length ? `✓ ${spoken("all on the van")}` : `▲ ${spoken("{n} to tick", { n: boxes.length - count })}`;
}

/** Return the steps of a stop in order. */
export function stepsOf(stop: HTMLElement): string[] {
  return all("[data-step]", stop).map((line) => line.dataset["step"] ?? "");
}

function showNext(stop: HTMLElement, visit: string, state: DayState): void {
  const button = stop.querySelector<HTMLButtonElement>("[data-next]");
  if (button === null) return;
  const steps = stepsOf(stop);
  const next = nextAt(state, visit, steps);
  const left = steps.filter((step) => state.steps[visit]?.[step] === undefined).length;
  button.textContent = words(next, left, !stop.nextElementSibling?.matches("#yard, .load"));
  button.dataset["next"] = next;
  const times = state.times?.[visit] ?? {};
  const at = (what: string): string => (times[what] === undefined ? "" : worded(localTime(times[what])));
  const told = [
    at("on_way") === "" ? "" : spoken("on the way {time}", { time: at("on_way") }),
    at("here") === "" ? "" : spoken("here {time}", { time: at("here") }),
  ].filter(Boolean);
  one("[data-foot]", stop).textContent = told.join(" · ");
  one("[data-undo]", stop).hidden = told.length === 0 || next === "on";
  // Once they are there, the steps are what the crew works on; a hand may fold and unfold them all the same.
  if (stop.dataset["next"] !== next) {
    stop.dataset["next"] = next;
    one<HTMLDetailsElement>("[data-steps]", stop).open = next === "sign";
  }
}

/** Return a moment by the clock of the business, as 9:21. */
export function localTime(moment: string): string {
  const timeZone = one("#day").dataset["timezone"] ?? "UTC";
  const [hour, minute] = new Date(moment).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit", timeZone }).split(":");
  return `${Number(hour)}:${minute}`;
}

function showSteps(stop: HTMLElement, visit: string, state: DayState): void {
  const signed = state.steps[visit] ?? {};
  const lines = all("[data-step]", stop);
  for (const line of lines) {
    const step = signed[line.dataset["step"] ?? ""];
    one<HTMLInputElement>("[data-sign]", line).checked = step !== undefined;
    const note = one<HTMLInputElement>("[data-note]", line);
    // What somebody is typing, or has typed and not left yet, stays.
    if (document.activeElement !== note && note.dataset["typed"] === undefined) note.value = step?.note ?? "";
  }
  const count = stop.querySelector("[data-signed]");
  if (count !== null) count.textContent = spoken("{n} of {all}", { n: Object.keys(signed).length, all: lines.length });
}

const urls = new Map<string, string>(); // addresses of photos that wait, by their key

function showPhotos(stop: HTMLElement, visit: string, state: DayState, waiting: readonly Entry[]): void {
  const list = one("ul.photos", stop);
  const kept = state.photos[visit] ?? [];
  const unsent = waiting.filter((entry) => entry.photo !== undefined && entry.thing.startsWith(`photo ${visit} `));
  const items = [
    ...kept.map((photo) => ({ id: String(photo.id), src: `/photos/${photo.id}`, shows: photo.shows, caption: photo.caption, waits: false })),
    ...unsent.map((entry) => {
      const src = urls.get(entry.key) ?? URL.createObjectURL(entry.photo as Blob);
      urls.set(entry.key, src);
      return { id: entry.key, src, shows: String(entry.body["shows"]), caption: String(entry.body["caption"]), waits: true };
    }),
  ];
  for (const [key, url] of urls) {
    if (!waiting.some((entry) => entry.key === key)) {
      URL.revokeObjectURL(url);
      urls.delete(key);
    }
  }
  const wanted = items.map((item) => item.id).join(" ");
  if (list.dataset["shown"] === wanted) return;
  list.dataset["shown"] = wanted;
  list.replaceChildren(
    ...items.map((item) => {
      const what = SHOWS[item.shows] ?? item.shows;
      const words = item.caption === "" ? what : `${what}: ${item.caption}`;
      const picture = make("img", { src: item.src, alt: words, loading: "lazy" });
      return make("li", {}, make("figure", {}, picture, make("figcaption", {}, item.waits ? `${words} ${WAITS}` : words)));
    }),
  );
  const count = stop.querySelector("[data-photos]");
  if (count !== null) count.textContent = String(items.length);
}

function showRoute(state: DayState, waiting: readonly Entry[]): void {
  const going = document.querySelector<HTMLElement>("#going");
  const back = document.querySelector<HTMLButtonElement>("#back");
  const waits = (what: string): string => (waiting.some((entry) => entry.path.endsWith(what)) ? ` ${WAITS}` : "");
  if (going !== null) going.hidden = state.out !== null;
  if (back !== null) back.disabled = state.out === null || state.out.back_at !== null;
  const out = document.querySelector("#out-words");
  if (out !== null && state.out !== null) {
    const why = state.out.overruled_why === "" ? "" : `, ${spoken("with a kit not on the van")}: ${state.out.overruled_by} – “${state.out.overruled_why}”`;
    const noted = state.out.out_by === "" ? spoken("Out noted") : spoken("Out noted by {who}", { who: state.out.out_by });
    out.textContent = `✓ ${noted}${why}.${waits("/out")}`;
  } else if (out !== null) out.textContent = "";
  const home = document.querySelector("#back-words");
  if (home !== null) home.textContent = state.out?.back_at ? `✓ ${spoken("Back noted.")}${waits("/back")}` : "";
}

/** Show what the service has refused, with both sides' words and what the crew can do about it. */
export function showRefused(
  entries: readonly Entry[],
  decide: (entry: Entry, what: "again" | "all the same" | "drop") => void,
): void {
  const place = one("#refused");
  place.hidden = entries.length === 0;
  place.replaceChildren(
    make("h2", { id: "refused-title" }, `▲ ${spokenFor("{n} note was not taken", "{n} notes were not taken", entries.length)}`),
    ...entries.map((entry) => refusedNote(entry, decide)),
  );
}

function refusedNote(entry: Entry, decide: (entry: Entry, what: "again" | "all the same" | "drop") => void): HTMLElement {
  const { refusal } = entry;
  const clash = refusal?.kind === "moved" || (refusal?.kind === "changed-meanwhile" && entry.path.endsWith("/results"));
  const button = (words: string, what: "again" | "all the same" | "drop"): HTMLElement => {
    const made = make("button", { type: "button" }, words);
    made.addEventListener("click", () => decide(entry, what));
    return made;
  };
  const theirs = sentence(refusal?.current);
  return make(
    "article",
    { class: "note" },
    make("p", {}, make("b", {}, `${spoken("Noted here")}: `), entry.words),
    make("p", {}, make("b", {}, `${spoken("The service")}: `), refusal?.detail || refusal?.title || ""),
    ...(theirs === "" ? [] : [make("p", {}, make("b", {}, `${spoken("It has")}: `), theirs)]),
    make(
      "p",
      { class: "choice" },
      clash ? button(spoken("Mine holds, send it all the same"), "all the same") : button(spoken("Send again"), "again"),
      button(spoken("Drop mine"), "drop"),
    ),
  );
}

const NAMES: Record<string, string> = {
  outcome: "", why: spoken("because"), start: spoken("begun"), end: spoken("ended"), noted_by: spoken("by"), out_by: spoken("noted by"),
  out_at: spoken("out"), back_at: spoken("back"), state: "",
};

/** Return what the service has, in words; what the crew cannot use is left out. */
export function sentence(current: unknown): string {
  if (typeof current !== "object" || current === null) return "";
  const words: string[] = [];
  for (const [name, label] of Object.entries(NAMES)) {
    const value = (current as Record<string, unknown>)[name];
    if (value === undefined || value === null || value === "") continue;
    words.push(`${label === "" ? "" : `${label} `}${written(name, value)}`);
  }
  return words.join(", ");
}

function written(name: string, value: unknown): string {
  if (name === "outcome") return OUTCOMES[String(value)] ?? String(value);
  if (typeof value === "number" && (name === "start" || name === "end")) {
    return clock(value);
  }
  if (name.endsWith("_at")) return worded(localTime(String(value)));
  return String(value);
}
