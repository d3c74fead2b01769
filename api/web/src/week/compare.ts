// This plan laid against another: what it saves, who moves, and marks on the sheet.
import { attempt, make, one, say, send } from "../common.ts";
import { dollars, worded } from "../words.ts";
import { kinds } from "./verdict.ts";
import * as sheet from "./sheet.ts";

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
  if (Math.abs(cents) < 50) return `costs the same as ${other}`;
  return cents > 0 ? `saves ${dollars(cents)} against ${other}` : `costs ${dollars(-cents)} more than ${other}`;
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
    ...(laid.promises.kept.length > 0 ? [`It keeps promises that plan ${laid.other} breaks: ${laid.promises.kept.join(", ")}.`] : []),
    ...(laid.promises.broken.length > 0 ? [`▲ It breaks promises that plan ${laid.other} keeps: ${laid.promises.broken.join(", ")}.`] : []),
  ];
  const panel = one("#compared");
  const head = `Plan ${laid.plan} ${saves(total, `plan ${laid.other}`)}; ${moved.length === 0 ? "nobody moves" : moved.length === 1 ? "1 visit moves" : `${moved.length} visits move`}`;
  panel.replaceChildren(
    make("h2", { id: "compared-title" }, head),
    ...(detail === "" ? [] : [make("p", { class: "small quiet" }, detail)]),
    ...(laid.same_week ? [] : [make("p", { class: "small quiet" }, "The two were made of different facts; both are priced by this plan's.")]),
    ...promises.map((text) => make("p", {}, text)),
    make("ul", {}, ...moved.map((move) => make("li", {}, worded(move.sentence)))),
    make("p", {}, make("button", { type: "button" }, "Close")),
  );
  panel.hidden = false;
  panel.focus();
  say(`${head}.`);
}
