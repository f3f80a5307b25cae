// Grades of a study by keys 1, 2, 3.
import { pressByKey } from "/static/keys.js";

pressByKey();
