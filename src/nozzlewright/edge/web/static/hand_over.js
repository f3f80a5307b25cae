// A report takes a moment to lay out: say so, and open it when it is there.
import { texts } from "/static/page.js";

const words = texts;
const status = document.getElementById("slow");

for (const link of document.querySelectorAll("a[data-slow]")) {
  link.addEventListener("click", async (event) => {
    if (event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    if (link.getAttribute("aria-busy") === "true") return;
    link.setAttribute("aria-busy", "true");
    status.textContent = words.laying_out;
    try {
      const answer = await fetch(link.href);
      status.textContent = answer.ok ? words.ready : words.failed;
    } catch {
      status.textContent = words.failed;
    } finally {
      link.removeAttribute("aria-busy");
    }
    location.assign(link.href);
  });
}
