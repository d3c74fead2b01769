// A run of the planner: begun here or found under way, followed live, stopped, and its plan put on the sheet.
import { attempt, newKey, one, say, send } from "../common.ts";
import { dollars } from "../words.ts";
import { curve, type Moment } from "./curve.ts";
import * as sheet from "./sheet.ts";
import { spoken } from "../spoken.ts";

interface Progress {
  state: string;
  seconds: number;
  cost_cents: number | null;
  bound_cents: number | null;
  gap_percent: number | null;
  phase: string;
}

interface Ended {
  state: string;
  plan_id: number | null;
  fault: string;
}

const ENDS: Record<string, string> = {
  done: spoken("Planned"), stopped: spoken("Stopped"), "cut off": spoken("Cut off"), failed: spoken("Not planned"),
};
let following: number | null = null;

/** What is said at the end of a run that has made a plan: how it ended, its cost, its number. */
type SayPlanned = (head: string, cost: string, plan: number) => string;

const ON_SHEET: SayPlanned = (head, cost, plan) => spoken("{head}: the sheet shows plan {plan}, {cost}.", { head, plan, cost });

let planned: () => Promise<unknown>;
let sayPlanned: SayPlanned;

/**
 * Listen to the form, and follow a run that is under way already; `onPlan` is called when one has made a plan, and then
 * `words` tells what the page shows.
 */
export function listen(onPlan: () => Promise<unknown>, address = () => `/weeks/${sheet.weekStart()}/runs`, words = ON_SHEET): void {
  [planned, sayPlanned] = [onPlan, words];
  const form = one<HTMLFormElement>("#plan-form");
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const seconds = Number(new FormData(form).get("seconds"));
    void attempt(async () => {
      // From the plan on the sheet: a run that is stopped early brings none that is dearer.
      const from = sheet.planId();
      const body = Number.isNaN(from) ? { seconds } : { seconds, from_plan: from };
      const run = await send<{ id: number }>("POST", address(), body, { key: newKey() });
      say(spoken("Planning."));
      follow(run.id);
    });
  });
  one("#run-stop").addEventListener("click", () => {
    if (following === null) return;
    one<HTMLButtonElement>("#run-stop").disabled = true;
    void attempt(() => send("POST", `/runs/${following}/stop`, null, { key: newKey() }));
  });
  const going = one("#run").dataset.run;
  if (going !== undefined) follow(Number(going));
}

function follow(id: number): void {
  following = id;
  const moments: Moment[] = [];
  one("#run").hidden = false;
  one<HTMLButtonElement>("#run-stop").disabled = false;
  one<HTMLButtonElement>("#plan-form button").disabled = true;
  for (const name of ["cost", "bound", "gap"]) one(`#run-${name}`).textContent = "–";
  const events = new EventSource(`/runs/${id}/events`);
  events.addEventListener("progress", (event) => {
    const told = JSON.parse((event as MessageEvent<string>).data) as Progress;
    moments.push({ seconds: told.seconds, cost: told.cost_cents, bound: told.bound_cents });
    show(told, moments);
  });
  events.addEventListener("ended", (event) => {
    events.close();
    void ended(JSON.parse((event as MessageEvent<string>).data) as Ended);
  });
}

function show(told: Progress, moments: readonly Moment[]): void {
  one("#run-cost").textContent = told.cost_cents === null ? "–" : dollars(told.cost_cents);
  one("#run-bound").textContent = told.bound_cents === null ? "–" : dollars(told.bound_cents);
  one("#run-gap").textContent = told.gap_percent === null ? "–" : `${told.gap_percent.toFixed(2)} %`;
  one("#run-seconds").textContent = told.seconds.toFixed(0);
  one("#run-phase").textContent = told.state === "waiting" ? spoken("waiting for its turn") : told.phase;
  const drawn = curve(moments);
  one("#run-curve .best").setAttribute("d", drawn.cost);
  one("#run-curve .bound").setAttribute("d", drawn.bound);
}

async function ended(told: Ended): Promise<void> {
  following = null;
  one("#run").hidden = true;
  one<HTMLButtonElement>("#plan-form button").disabled = false;
  if (told.plan_id !== null) await planned();
  const cost = one("#run-cost").textContent ?? "";
  const head = ENDS[told.state] ?? told.state;
  say(told.plan_id === null ? `${head}. ${told.fault}` : `${sayPlanned(head, cost, told.plan_id)}${told.fault === "" ? "" : ` ${told.fault}`}`);
}
