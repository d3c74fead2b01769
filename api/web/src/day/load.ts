// Loads that the van takes on in mid-day: in the yard, and all of it on the van, one tap each.
import { all, one } from "../common.ts";
import { spoken } from "../spoken.ts";
import { clock, worded } from "../words.ts";
import type { Noting } from "./photo.ts";
import type { Entry } from "./queue.ts";
import { aboutWords, type DayState, type LoadNotes } from "./state.ts";
import { allOn, letGo } from "./van.ts";
import { WAITS, allTicked, localTime } from "./view.ts";

type What = "here" | "loaded" | "on";

/** Return what comes next at a load by what the crew has noted of it. */
export function nextAtLoad(notes: LoadNotes | undefined): What {
  return notes?.loaded !== undefined ? "on" : notes?.here !== undefined ? "loaded" : "here";
}

/** Say what a crew noted of a load, in the yard 12:10 and loaded 12:35; empty: nothing. */
export function loadWords(notes: LoadNotes | undefined): string {
  const { here, loaded, overruled_by: by = "", overruled_why: why = "" } = notes ?? {};
  return [
    here === undefined || here === loaded ? "" : spoken("in the yard {time}", { time: worded(localTime(here)) }),
    loaded === undefined ? "" : spoken("loaded {time}", { time: worded(localTime(loaded)) }),
    why === "" ? "" : `${spoken("with a kit not on the van")}: ${by} – “${why}”`,
  ].filter(Boolean).join(" · ");
}

/** Say when a load is expected beside its planned time; empty once the crew has noted that it is in the yard for it. */
export function expectedLoadWords(state: DayState, load: string): string {
  return nextAtLoad(state.load_times?.[load]) === "here" ? aboutWords(state.expected?.loads?.[load]) : "";
}

/** Show of each load what is noted of it, what of it is not on the van, and when it is expected. */
export function showLoads(state: DayState, waiting: readonly Entry[]): void {
  for (const panel of all(".panel.load")) {
    const load = panel.dataset["load"] ?? "";
    const notes = state.load_times?.[load];
    const words = expectedLoadWords(state, load);
    const expected = state.expected?.loads?.[load];
    for (const about of all(`[data-expected-load="${load}"]`)) about.textContent = words;
    for (const rail of all(`[data-now-load="${load}"]`)) rail.textContent = words === "" || expected === undefined ? "" : `→ ${clock(expected.start)}`;
    for (const mark of all(`[data-how-load="${load}"]`)) mark.textContent = nextAtLoad(notes) === "on" ? "✓" : "";
    const left = all(".stop").filter((stop) => stop.dataset["inLoad"] === load).map((stop) => stop.dataset["visit"] ?? "").filter((visit) => !allTicked(visit));
    one("[data-off-van]", panel).textContent = left.length === 0 ? `✓ ${spoken("all on the van")}` : `▲ ${spoken("Not on the van: {what}.", { what: left.join(", ") })}`;
    const unsent = waiting.some((entry) => entry.path.endsWith("/loads") && String(entry.body["load"]) === load);
    const told = loadWords(notes);
    one("[data-load-told]", panel).textContent = told === "" ? "" : `✓ ${told}${unsent ? ` ${WAITS}` : ""}`;
    const undo = panel.querySelector<HTMLElement>("[data-load-undo]");
    const button = panel.querySelector<HTMLElement>("[data-load-next]");
    if (undo !== null) undo.hidden = told === "";
    if (button === null) continue;
    const next = nextAtLoad(notes);
    button.textContent = (JSON.parse(button.dataset["words"] ?? "[]") as string[])[["here", "loaded", "on"].indexOf(next)] ?? "";
    if (next !== "loaded") {
      one("[data-overrule]", panel).hidden = true;
      one("[data-not-loaded]", panel).textContent = "";
    }
  }
}

/** Have the crew note its loads; `on` leads from a load's panel to the next. */
export function listenToLoads(page: string, note: Noting, standing: () => DayState, on: (panel: HTMLElement) => void): void {
  const tell = (load: number, what: "here" | "loaded", noted: boolean, more: Record<string, string> = {}): Promise<boolean> => {
    const done = what === "loaded" ? spoken("loaded") : spoken("in the yard");
    const words = `${spoken("load {n}", { n: load })}: ${noted ? done : spoken("not {state}", { state: done })}`;
    return note(`${page}/loads`, "route", words, { load, what, noted, ...more });
  };
  for (const panel of all(".panel.load")) {
    const load = Number(panel.dataset["load"]);
    const notes = (): LoadNotes | undefined => standing().load_times?.[String(load)];
    const button = panel.querySelector<HTMLButtonElement>("[data-load-next]");
    const goOn = async (): Promise<void> => {
      const next = nextAtLoad(notes());
      if (next === "on") return on(panel);
      if (next === "here") return void (await tell(load, next, true));
      await allOn();
      await letGo(panel, String(load), (entry) => entry.path === `${page}/loads` && entry.body["load"] === load, (by) => tell(load, next, true, by));
    };
    button?.addEventListener("click", () => {
      button.disabled = true; // a second tap of a hasty thumb does nothing
      void goOn().finally(() => setTimeout(() => (button.disabled = false), 400));
    });
    panel.querySelector("[data-load-undo]")?.addEventListener("click", () => void tell(load, nextAtLoad(notes()) === "on" ? "loaded" : "here", false));
  }
}
