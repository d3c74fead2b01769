// What a crew does next at a stop: one thing at a time, each with its words for the large button.
import { spoken, spokenFor } from "../spoken.ts";
import type { DayState } from "./state.ts";

export type Next = "on_way" | "here" | "sign" | "done" | "on";

/** Return what comes next at the visit `visit`, of whose `steps` some may be unsigned. */
export function nextAt(state: DayState, visit: string, steps: readonly string[]): Next {
  if (state.results[visit] !== undefined) return "on";
  const times = state.times?.[visit] ?? {};
  // The way to the first stop begins with leaving the yard.
  const first = state.stops[0]?.visit === visit && state.out !== null;
  if (times["here"] === undefined) return times["on_way"] !== undefined || first ? "here" : "on_way";
  const signed = state.steps[visit] ?? {};
  return steps.every((step) => signed[step] !== undefined) ? "done" : "sign";
}

/** Return the words on the large button; `left` is how many steps are unsigned, `more` whether a stop comes after it. */
export function words(next: Next, left: number, more: boolean): string {
  if (next === "sign") return spokenFor("In order: sign the last step", "All in order: sign {n} steps", left);
  if (next === "on") return more ? spoken("On our way to the next") : spoken("To the yard");
  return { on_way: spoken("On our way"), here: spoken("We are here"), done: spoken("Work done") }[next];
}
