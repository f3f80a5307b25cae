// The drawing answers to a tap and to Enter or Space, as the list beside it does without a script.

const board = document.querySelector(".exploded");
const { path, part: chosen } = board.dataset;

for (const part of board.querySelectorAll("g.part")) {
  const key = part.dataset.part;
  part.setAttribute("aria-pressed", String(key === chosen));
  const go = () => location.assign(`${path}?part=${encodeURIComponent(key)}#finding`);
  part.addEventListener("click", go);
  part.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" && event.key !== " ") return;
    event.preventDefault();
    go();
  });
}
