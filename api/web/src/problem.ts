// How a problem document (RFC 9457) is read, on pages and in the crew's worker alike.
import { spoken } from "./spoken.ts";

/** Return the kind of a problem by its `type`, such as changed-meanwhile; empty where it is none of the service's. */
export function kindOf(type: unknown): string {
  return typeof type === "string" && type.startsWith("/problems/") ? type.slice("/problems/".length) : "";
}

/** Return a problem's `title`, or a sentence that gives its status. */
export function headingOf(title: unknown, status: number): string {
  return typeof title === "string" ? title : spoken("The service answered {status}", { status });
}
