// Settings: says how many values differ from what is kept, and has the browser ask before they are lost.
import { all, make, one } from "../common.ts";
import { changed } from "../settings.ts";
import { spokenFor } from "../spoken.ts";

const form = one<HTMLFormElement>("form.part");
const told = make("span", { class: "unsaved quiet", role: "status" });
one(".keep", form).append(told);
let sending = false;

function count(): number {
  return all<HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement>("input:not([type=hidden]), select, textarea", form).filter(changed).length;
}

form.addEventListener("input", () => {
  const n = count();
  told.textContent = n === 0 ? "" : spokenFor("{n} value is changed and not kept yet.", "{n} values are changed and not kept yet.", n);
});
form.addEventListener("submit", () => {
  sending = true;
});
window.addEventListener("beforeunload", (leaving) => {
  if (!sending && count() > 0) leaving.preventDefault();
});
// The first that cannot stand is where one goes on.
all("[aria-invalid]", form)[0]?.focus();
