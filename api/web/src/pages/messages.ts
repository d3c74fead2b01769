// The texts that customers sent, brought up to date while the page is open: only they, since letters may be half written.
import { one, say } from "../common.ts";
import { spoken } from "../spoken.ts";

const place = one("#answers");
let shown: string | undefined;

async function refresh(): Promise<void> {
  const answer = await fetch("/messages", { headers: { Accept: "text/html" }, credentials: "same-origin" });
  if (!answer.ok || answer.redirected) return;
  const next = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("#answers");
  if (next === null) return;
  const more = next.querySelectorAll("li").length > place.querySelectorAll("li").length;
  place.replaceChildren(...document.importNode(next, true).childNodes);
  if (more) say(spoken("A customer has sent a text."));
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
