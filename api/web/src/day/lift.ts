// Lifts at which two crews meet: that the second one is there, and that it is over, one tap each by either crew.
import { all } from "../common.ts";
import { spoken } from "../spoken.ts";
import { clock, worded } from "../words.ts";
import type { Noting } from "./photo.ts";
import type { Entry } from "./queue.ts";
import { expectedLiftWords, type DayState, type LiftNotes } from "./state.ts";
import { WAITS, localTime } from "./view.ts";

type What = "here" | "over" | "on";

/** Return what comes next at a lift by what the crew has noted of it. */
export function nextAtLift(notes: LiftNotes | undefined): What {
  return notes?.mine["over"] !== undefined ? "on" : notes?.mine["here"] !== undefined ? "over" : "here";
}

/** Say what a crew noted of a lift, here at 9:21 and done at 9:50; empty: nothing. */
export function liftWords(noted: Record<string, string>): string {
  const { here, over } = noted;
  if (over !== undefined && here === over) return spoken("lift done {time}", { time: worded(localTime(over)) });
  return [
    here === undefined ? "" : spoken("there {time}", { time: worded(localTime(here)) }),
    over === undefined ? "" : spoken("lift done {time}", { time: worded(localTime(over)) }),
  ].filter(Boolean).join(" · ");
}

/** Show what is noted of each lift; `waiting` are the notes that the service has not. */
export function showLifts(state: DayState, waiting: readonly Entry[]): void {
  const of = (visit: string | undefined): LiftNotes => state.lift_times?.[visit ?? ""] ?? { mine: {}, theirs: {} };
  for (const place of all("[data-lift-told]")) {
    const words = liftWords(of(place.dataset["liftTold"]).mine);
    const unsent = waiting.some((entry) => entry.path.endsWith("/lifts") && entry.body["visit"] === place.dataset["liftTold"]);
    place.textContent = words === "" ? "" : `✓ ${words}${unsent ? ` ${WAITS}` : ""}`;
  }
  for (const place of all("[data-lift-theirs]")) {
    const words = liftWords(of(place.dataset["liftTheirs"]).theirs);
    place.textContent = words === "" ? "" : spoken("The other crew noted: {words}", { words });
  }
  for (const place of all("[data-expected-lift], [data-expected-second]")) {
    place.textContent = expectedLiftWords(state, place.dataset["expectedLift"] ?? place.dataset["expectedSecond"] ?? "");
  }
  for (const place of all("[data-now-lift]")) {
    const visit = place.dataset["nowLift"] ?? "";
    const start = state.expected?.lifts?.[visit]?.start;
    place.textContent = expectedLiftWords(state, visit) === "" || start === undefined ? "" : `→ ${clock(start)}`;
  }
  for (const button of all("[data-lift-undo]")) button.hidden = liftWords(of(button.dataset["liftUndo"]).mine) === "";
  for (const button of all("[data-lift-next]")) {
    const next = nextAtLift(of(button.dataset["liftNext"]));
    const words = (JSON.parse(button.dataset["words"] ?? "[]") as string[])[["here", "over", "on"].indexOf(next)] ?? "";
    button.textContent = words;
    button.hidden = words === "";
  }
  for (const mark of all("[data-how-lift]")) {
    mark.textContent = nextAtLift(of(mark.dataset["howLift"])) === "on" ? "✓" : "";
  }
}

/** Have the crew note its lifts; `on` leads from a lift's panel to the next. */
export function listenToLifts(page: string, note: Noting, standing: () => DayState, on: (panel: HTMLElement) => void): void {
  const tell = async (visit: string, what: "here" | "over", noted: boolean): Promise<void> => {
    const done = what === "over" ? spoken("lift done") : spoken("second crew there");
    const words = `${visit}: ${noted ? done : spoken("not {state}", { state: done })}`;
    await note(`${page}/lifts`, `lift ${visit}`, words, { visit, what, noted });
  };
  for (const button of all<HTMLButtonElement>("[data-lift-next]")) {
    button.addEventListener("click", () => {
      const visit = button.dataset["liftNext"] ?? "";
      const next = nextAtLift(standing().lift_times?.[visit]);
      const panel = button.closest<HTMLElement>(".panel");
      if (next === "on") {
        if (panel !== null) on(panel);
        return;
      }
      button.disabled = true; // a second tap of a hasty thumb does nothing
      void tell(visit, next, true).finally(() => setTimeout(() => (button.disabled = false), 400));
    });
  }
  for (const button of all("[data-lift-undo]")) {
    button.addEventListener("click", () => {
      const visit = button.dataset["liftUndo"] ?? "";
      void tell(visit, standing().lift_times?.[visit]?.mine["over"] === undefined ? "here" : "over", false);
    });
  }
}
