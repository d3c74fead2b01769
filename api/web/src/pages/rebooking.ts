// A case: while times are being searched, say how far the search is, and show what was found when it has ended.
import { all, say, send } from "../common.ts";
import { spoken } from "../spoken.ts";

interface State {
  phase: string;
  seconds: number;
  fault: string;
  offers: string[];
}

const EVERY_MS = 700;
const shown = all<HTMLInputElement>("input[name=choice]").map((input) => input.value);
/** Somebody is on the way to another page: what is found meanwhile must not call them back to this one. */
let leaving = false;
window.addEventListener("beforeunload", () => {
  leaving = true;
});
const line = all<HTMLElement>("[data-waiting]")[0];

/** Whether somebody is choosing just now, by keyboard or with the pointer over the offers: nothing may jump there. */
function choosing(): boolean {
  return document.activeElement?.closest("form") != null || document.querySelector("ul.offers:hover") !== null;
}

/** Whether there is something to choose from and the page shows nothing yet; more is shown once, when all is found. */
function news(offers: string[]): boolean {
  return shown.length === 0 && offers.length > 0 && !choosing();
}

async function look(address: string): Promise<void> {
  const state = await send<State>("GET", address);
  if (leaving) return;
  if (state.phase === "" || news(state.offers)) {
    if (state.phase === "" && choosing()) {
      say(spoken("The search has ended. Load the page again to see all that was found."));
      if (line) line.textContent = `✓ ${spoken("The search has ended. Load the page again to see all that was found.")}`;
      return;
    }
    window.location.reload();
    return;
  }
  if (line) line.textContent = state.seconds > 0 ? spoken("… Searching: {phase}, {seconds} s.", { phase: state.phase, seconds: state.seconds }) : spoken("… Searching: {phase}.", { phase: state.phase });
  window.setTimeout(() => void look(address).catch(gone), EVERY_MS);
}

function gone(): void {
  if (line) line.textContent = spoken("▲ The service does not answer; load the page again.");
}

if (line?.dataset["waiting"]) void look(line.dataset["waiting"]).catch(gone);
