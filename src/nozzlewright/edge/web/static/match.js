// Choices of a match by their number.
import { pressByKey } from "/static/keys.js";

pressByKey();
