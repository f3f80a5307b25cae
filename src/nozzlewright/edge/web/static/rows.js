// Rows of a form that are asked for one at a time: all are there, the empty ones past the first
// few are put away until somebody wants one more.
const FIRST = 5;

for (const list of document.querySelectorAll("[data-rows]")) {
  const rows = [...list.querySelectorAll("[data-row]")];
  const more = list.parentElement.querySelector("[data-more]");
  if (!more) continue;
  const filled = (row) => [...row.querySelectorAll("input")].some((input) => input.value || input.ariaInvalid);
  const last = rows.reduce((found, row, at) => (filled(row) ? at : found), -1);
  let shown = Math.max(FIRST, last + 1);
  const show = () => {
    rows.forEach((row, at) => { row.hidden = at >= shown; });
    more.hidden = shown >= rows.length;
  };
  more.addEventListener("click", () => {
    shown += 1;
    show();
    rows[shown - 1].querySelector("input").focus();
  });
  show();
}
