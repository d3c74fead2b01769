// Today brought up to date while it is open: whenever a crew's line changes, the page is fetched anew and put in place.
import { one, say } from "../common.ts";
import { renew } from "../renewed.ts";

const page = one("#today");
let shown: string | undefined;
let later = false; // brought up to date once nobody is about to press anything

/** Whether somebody looks at what a way of going on would do, or stands on its button: nothing jumps away there. */
function busy(): boolean {
  const at = document.activeElement;
  return page.querySelector("details[open]") !== null || (at instanceof HTMLButtonElement && page.contains(at));
}

async function refresh(): Promise<void> {
  later = busy();
  if (later) return;
  const before = page.querySelector(".answer")?.textContent;
  if (!(await renew(["today"]))) return;
  const now = page.querySelector(".answer")?.textContent ?? "";
  if (now !== before) say(now);
}

function catchUp(): void {
  if (later) window.setTimeout(() => void refresh()); // once the focus is where it goes next
}

page.addEventListener("toggle", catchUp, true);
page.addEventListener("focusout", catchUp);

const week = page.dataset["week"]; // none where nothing is posted: there is nothing to come then
if (week !== undefined && "EventSource" in window) {
  const source = new EventSource(`/weeks/${week}/live`);
  source.addEventListener("standing", (event) => {
    const { today } = JSON.parse((event as MessageEvent<string>).data) as { today: string };
    if (shown !== undefined && today !== shown) void refresh();
    shown = today;
  });
  source.addEventListener("ended", () => source.close());
}
