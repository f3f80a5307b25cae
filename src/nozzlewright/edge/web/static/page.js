// What the scripts of a page share: its words, and a way to send something.

const block = document.getElementById("texts");

/** Words of this page in its language (macro `texts`). */
export const texts = block ? JSON.parse(block.textContent) : {};

const token = document.querySelector('meta[name="csrf"]').content;

/**
 * Send data or a form to this machine; returns the answer's data.
 *
 * Throws an Error whose message can be shown; its `faults` are those of the answer.
 */
export async function post(path, body) {
  const form = body instanceof FormData;
  const response = await fetch(path, {
    method: "POST",
    headers: {
      Accept: "application/json",
      "X-CSRF": token,
      ...(form ? {} : { "Content-Type": "application/json" }),
    },
    body: form ? body : JSON.stringify(body),
  });
  const answer = await response.json();
  if (!response.ok) {
    const fault = new Error(answer.error.faults.map((one) => one.what).join("; ") || answer.error.message);
    fault.faults = answer.error.faults;
    throw fault;
  }
  return answer;
}

/** Return an id that nothing else has; also where the page came over plain http. */
export function newId() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}
