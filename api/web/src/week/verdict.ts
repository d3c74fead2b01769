// What a try of a move says, as the service gives it, and the same in the words of the page.
import { dollars, worded } from "../words.ts";
import { spoken } from "../spoken.ts";

/** A rule, lock or promise that a move does not keep. */
export interface Broken {
  rule: string;
  sentence: string;
  visit: string | null;
  promise: boolean;
}

/** The answer of POST /plans/{id}/tries; a stored move has `plan_id` too. */
export interface Tried {
  allowed: boolean;
  broken: Broken[];
  cost_change_cents: number;
  by_kind: Record<string, number>;
  plan_id?: number;
}

/** What a move breaks for good, and which promises it breaks that somebody may decide to break. */
export function split(tried: Tried): { rules: string[]; promises: string[] } {
  return {
    rules: tried.broken.filter((one) => !one.promise).map((one) => worded(one.sentence)),
    promises: tried.broken.filter((one) => one.promise).map((one) => worded(one.sentence)),
  };
}

/** Return a change of cost in words: "$84 dearer". */
export function change(cents: number): string {
  if (Math.abs(cents) < 50) return spoken("costs the same");
  const cost = dollars(Math.abs(cents));
  return cents > 0 ? spoken("{cost} dearer", { cost }) : spoken("{cost} cheaper", { cost });
}

/** Return the kinds of cost that change by a dollar or more, the largest first: "travel +$60, overtime -$12". */
export function kinds(by: Record<string, number>): string {
  return Object.entries(by)
    .filter(([, cents]) => Math.abs(cents) >= 50)
    .sort((a, b) => Math.abs(b[1]) - Math.abs(a[1]))
    .map(([kind, cents]) => `${kind} ${cents > 0 ? "+" : ""}${dollars(cents)}`)
    .join(", ");
}

/** Return the verdict in one sentence, as it is read out. */
export function sentence(tried: Tried): string {
  const { rules, promises } = split(tried);
  if (rules.length > 0) return `${spoken("Cannot go here.")} ${rules.join(" ")}`;
  const cost = change(tried.cost_change_cents);
  const able = `${cost.charAt(0).toUpperCase()}${cost.slice(1)}.`;
  return promises.length > 0 ? `${spoken("Breaks a promise.")} ${promises.join(" ")} ${able}` : `${spoken("Can go here.")} ${able}`;
}
