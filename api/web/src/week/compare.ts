// This plan laid against another: what it saves, who moves, and marks on the sheet.
import { attempt, make, one, say, send } from "../common.ts";
import { dollars, worded } from "../words.ts";
import { kinds } from "./verdict.ts";
import * as sheet from "./sheet.ts";
import { spoken, spokenFor } from "../spoken.ts";

interface Move {
  visit: string;
  what: string;
  before: sheet.Spot | null;
  after: sheet.Spot | null;
  sentence: string;
}

export interface Comparison {
  plan: number;
  other: number;
  same_week: boolean;
  moves: Move[];
  saves_cents: Record<string, number>;
  promises: { kept: string[]; broken: string[]; broken_in_both: string[] };
}

/** Fetch how the sheet's plan lies against `other`. */
export function against(other: number): Promise<Comparison> {
  return send<Comparison>("GET", `/plans/${sheet.planId()}/against/${other}`);
}

/** Return what this plan saves in words: "saves $120 against plan 3", "costs $40 more than plan 3". */
export function saves(cents: number, other: string): string {
  if (Math.abs(cents) < 50) return spoken("costs the same as {other}", { other });
  if (cents > 0) return spoken("saves {cost} against {other}", { cost: dollars(cents), other });
  return spoken("costs {cost} more than {other}", { cost: dollars(-cents), other });
}

/** Listen to the form and to the button that closes the comparison. */
export function listen(): void {
  document.addEventListener("submit", (event) => {
    if (!(event.target instanceof HTMLFormElement) || event.target.id !== "compare-form") return;
    event.preventDefault();
    const other = Number(new FormData(event.target).get("other"));
    void attempt(async () => show(await against(other)));
  });
  one("#compared").addEventListener("click", (event) => {
    if (event.target instanceof Element && event.target.closest("button") !== null) close();
  });
}

function close(): void {
  sheet.clearMarks();
  one("#compared").hidden = true;
}

function show(laid: Comparison): void {
  sheet.clearMarks();
  const moved = laid.moves.filter((move) => move.what !== "stays");
  for (const move of moved) sheet.markMoved(move.visit, sheet.wasWords(move.before));
  const { total = 0, ...by } = laid.saves_cents;
  const spent = Object.fromEntries(Object.entries(by).map(([kind, cents]) => [kind, -cents]));
  const detail = kinds(spent);
  const promises = [
    ...(laid.promises.kept.length > 0 ? [spoken("It keeps promises that plan {other} breaks: {visits}.", { other: laid.other, visits: laid.promises.kept.join(", ") })] : []),
    ...(laid.promises.broken.length > 0 ? [spoken("▲ It breaks promises that plan {other} keeps: {visits}.", { other: laid.other, visits: laid.promises.broken.join(", ") })] : []),
  ];
  const panel = one("#compared");
  const how = { plan: laid.plan, saves: saves(total, spoken("plan {other}", { other: laid.other })) };
  const head =
    moved.length === 0
      ? spoken("Plan {plan} {saves}; nobody moves", how)
      : spokenFor("Plan {plan} {saves}; {n} visit moves", "Plan {plan} {saves}; {n} visits move", moved.length, how);
  panel.replaceChildren(
    make("h2", { id: "compared-title" }, head),
    ...(detail === "" ? [] : [make("p", { class: "small quiet" }, detail)]),
    ...(laid.same_week ? [] : [make("p", { class: "small quiet" }, spoken("The two were made of different facts; both are priced by this plan's."))]),
    ...promises.map((text) => make("p", {}, text)),
    make("ul", {}, ...moved.map((move) => make("li", {}, worded(move.sentence)))),
    make("p", {}, make("button", { type: "button" }, spoken("Close"))),
  );
  panel.hidden = false;
  panel.focus();
  say(`${head}.`);
}
