// Looking back: a question that is under way is asked after, and its answer shown when it is there; a figure that leads
// into something folded opens it.
import { all, attempt, say, send } from "../common.ts";
import { renew } from "../renewed.ts";
import { spoken } from "../spoken.ts";

const EVERY_MS = 3000;
const waiting = all("[data-waiting]")[0];

async function look(path: string): Promise<void> {
  let state = "running";
  const heard = await attempt(async () => {
    const told = await send<{ asked: { state: string } | null }>("GET", path);
    state = told.asked?.state ?? "done";
  });
  if (heard && state !== "running") {
    if (!(await renew(["pays"]))) location.reload();
    say(spoken("The answer is there."));
  } else setTimeout(() => void look(path), EVERY_MS);
}

function unfold(): void {
  const aim = location.hash === "" ? null : document.getElementById(decodeURIComponent(location.hash.slice(1)));
  if (aim === null) return;
  for (let e: HTMLElement | null = aim; e !== null; e = e.parentElement) if (e instanceof HTMLDetailsElement) e.open = true;
  aim.scrollIntoView();
}

if (waiting?.dataset.waiting !== undefined) void look(waiting.dataset.waiting);
window.addEventListener("hashchange", unfold);
unfold();
