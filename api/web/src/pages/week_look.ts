// The week sheet of those who only look: visits open beside it.
import { listen } from "../week/look.ts";

listen();
