// Taking a table in: tried and kept without choosing the file twice. Without this script the form does the same by pages.
import { attempt, csrf, Fault, one, say } from "../common.ts";

const form = one<HTMLFormElement>("form.take-in");

/** Send what the form held and put the answer's part for what was tried in place of the one shown. */
async function send(body: FormData): Promise<void> {
  const answer = await fetch(form.action, {
    method: "POST",
    body,
    headers: { Accept: "text/html", "X-CSRF-Token": csrf() },
    credentials: "same-origin",
  }).catch(() => {
    throw new Fault(0, { detail: "The service cannot be reached. Nothing was taken in." });
  });
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const tried = page.querySelector("#tried");
  if (tried === null) {
    const words = [...page.querySelectorAll("main li, main p")].map((e) => e.textContent.trim());
    throw new Fault(answer.status, { detail: words.join(" ") || `The service answered ${answer.status}` });
  }
  tried.querySelector(".again")?.remove(); // the same file is still chosen
  one("#tried").replaceWith(document.adoptNode(tried));
  say(one("#tried .answer").textContent.trim());
}

form.addEventListener("submit", (event) => {
  const button = event.submitter;
  if (!(button instanceof HTMLButtonElement)) return;
  event.preventDefault();
  const body = new FormData(form, button); // before the button is disabled: its value would be left out
  button.disabled = true;
  void attempt(() => send(body)).then((heard) => {
    button.disabled = false;
    if (!heard) untried();
  });
});

/** Begin again: what stands there is about another file, or about what the database held before. */
function untried(): void {
  const button = one<HTMLButtonElement>("#tried button");
  button.value = "try";
  button.textContent = "Try it first";
  one("#tried").replaceChildren(button);
}

form.addEventListener("change", untried);
