// The texts that customers sent, brought up to date while the page is open: only they, since letters may be half written.
import { one, say } from "../common.ts";
import { renew } from "../renewed.ts";
import { spoken } from "../spoken.ts";

const place = one("#answers");
let shown: string | undefined;

async function refresh(): Promise<void> {
  const before = place.querySelectorAll("li").length;
  if (!(await renew(["answers"], "/messages"))) return;
  if (place.querySelectorAll("li").length > before) say(spoken("A customer has sent a text."));
}

const week = place.dataset["week"]; // none where no plan was ever made: nobody was told anything either
if (week !== undefined && "EventSource" in window) {
  const source = new EventSource(`/weeks/${week}/live`);
  source.addEventListener("standing", (event) => {
    const { texts } = JSON.parse((event as MessageEvent<string>).data) as { texts: string };
    if (shown !== undefined && texts !== shown) void refresh();
    shown = texts;
  });
  source.addEventListener("ended", () => source.close());
}
