// One job's page: the drawing nearer and farther, and the address of its calendar.
import { all, attempt, make, one, say, send } from "../common.ts";
import { zoomable } from "../zoom.ts";
import { spoken } from "../spoken.ts";

zoomable();

// On paper nothing is folded: cautions, lists and further pages of the drawing are printed too.
addEventListener("beforeprint", () => {
  for (const fold of all<HTMLDetailsElement>("main details")) fold.open = true;
});

const button = document.querySelector<HTMLButtonElement>("#calendar");
if (button !== null) {
  button.hidden = false;
  button.addEventListener("click", () =>
    void attempt(async () => {
      const { address } = await send<{ address: string }>("GET", `/jobs/${button.dataset["of"] ?? ""}/calendar`);
      const place = one("#calendar-address");
      place.hidden = false;
      place.replaceChildren(`${spoken("Subscribe a calendar to")} `, make("a", { href: address }, address));
      say(spoken("The address of the calendar stands below."));
    }),
  );
}
