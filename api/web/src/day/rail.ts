// The rail of stops: one part of the day is shown at a time, the one that the address names.
import { all, one } from "../common.ts";

/** Show the part `id` of the day, and say so to those who hear the page; `open`: something folded in it to be seen. */
export function showPart(id: string, how: { focus?: boolean } = {}): void {
  const panel = document.getElementById(id)?.closest<HTMLElement>(".panel");
  if (!panel) return;
  for (const other of all(".panel")) other.classList.toggle("current", other === panel);
  for (const link of all(".rail a")) {
    if (link.getAttribute("href") === `#${panel.id}`) {
      link.setAttribute("aria-current", "step");
      link.scrollIntoView({ block: "nearest", inline: "center" });
    } else link.removeAttribute("aria-current");
  }
  scrollTo(0, 0);
  if (how.focus === true) one("h2", panel).focus({ preventScroll: true });
}

/** Go to a part of the day, so that Back on the phone leads to the one before. */
export function goTo(id: string): void {
  if (location.hash !== `#${id}`) history.pushState(null, "", `#${id}`);
  showPart(id, { focus: true });
}

/** Have the rail and the address show parts; `first` is where the day is if the address names none. */
export function beginRail(first: string): void {
  one("#day").classList.add("paged");
  const shown = (): void => showPart(location.hash.length > 1 ? decodeURIComponent(location.hash.slice(1)) : first);
  showPart(first);
  shown();
  addEventListener("popstate", shown);
  for (const link of all<HTMLAnchorElement>("#day a[href^='#']")) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      goTo(decodeURIComponent(link.hash.slice(1)));
    });
  }
}
