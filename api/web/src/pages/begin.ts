// First days: plan the first week from here, and lead to its sheet when there is a plan.
import { all, attempt, newKey, one, send } from "../common.ts";
import { dollars } from "../words.ts";
import { spoken } from "../spoken.ts";

interface Run {
  id: number;
  state: string;
  phase: string;
  cost_cents: number | null;
  plan_id: number | null;
  fault: string;
}

const EVERY_MS = 1000;
const button = all<HTMLButtonElement>("#plan")[0];

function tell(words: string): void {
  one("#progress").textContent = words;
}

async function follow(run: Run, week: string): Promise<void> {
  while (run.state === "waiting" || run.state === "running") {
    tell(run.cost_cents === null ? spoken("○ Planning.") : spoken("○ Planning: {cost} so far.", { cost: dollars(run.cost_cents) }));
    await new Promise((go) => setTimeout(go, EVERY_MS));
    run = await send<Run>("GET", `/runs/${run.id}`);
  }
  if (run.plan_id === null) tell(spoken("▲ No plan: {fault}", { fault: run.fault }));
  else location.assign(`/weeks/${week}`);
}

async function plan(button: HTMLButtonElement): Promise<void> {
  const week = one<HTMLInputElement>("#monday").value;
  button.disabled = true;
  tell(spoken("○ Drawing the walls and listing the kits."));
  const done = await attempt(async () => {
    await follow(await send<Run>("POST", `/weeks/${week}/runs`, { seconds: 60 }, { key: newKey() }), week);
  });
  if (!done) tell("");
  button.disabled = false;
}

if (button !== undefined) {
  button.disabled = false;
  button.addEventListener("click", () => void plan(button));
}
