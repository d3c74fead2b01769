// Today brought up to date while it is open: whenever a crew's line changes, the page is fetched anew and put in place.
import { one, say } from "../common.ts";
import { renew } from "../renewed.ts";

const page = one("#today");
let shown: string | undefined;

async function refresh(): Promise<void> {
  const before = page.querySelector(".answer")?.textContent;
  if (!(await renew(["today"]))) return;
  const now = page.querySelector(".answer")?.textContent ?? "";
  if (now !== before) say(now);
}

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
