// What the page says of itself: short words for a while, and what a new posting changes.
import { make, one, say } from "../common.ts";
import { spoken } from "../spoken.ts";

let silence: ReturnType<typeof setTimeout> | undefined;

/** Say something for a while, in the line that names the day: never over what the crew works on. */
export function speak(text: string): void {
  say(text);
  clearTimeout(silence);
  silence = setTimeout(() => one("#said").replaceChildren(), 8000);
}

/** Show that the week was posted anew, with what that changes of the day. */
export function showChanges(sentences: string[]): void {
  const place = one("#changed");
  place.hidden = false;
  const button = make("button", { type: "button", class: "big" }, spoken("Show the new day"));
  button.addEventListener("click", () => location.reload());
  const words = sentences.length === 0 ? [spoken("Your stops are as they were.")] : sentences;
  place.replaceChildren(
    make("h2", { id: "changed-title" }, `▲ ${spoken("The week was posted anew")}`),
    make("ul", {}, ...words.map((sentence) => make("li", {}, sentence))),
    make("p", {}, spoken("What you have noted and typed stays."), " "),
    button,
  );
  if (sentences.length > 0) speak(spoken("The week was posted anew: see the top of the page."));
}
