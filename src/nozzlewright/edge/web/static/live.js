// The line to a bench: samples as binary frames, marks and state as text (live_socket.py).
const NO_SUCH_BENCH = 4404;

const FIRST_WAIT_MS = 250, LONGEST_WAIT_MS = 4000;
const SILENT_MS = 4000; // the server says something twice a second, so this is a dead line
const HEAD = 8; // bytes before the points: time of the first, as a float64

/**
 * Follow a bench until the page is left; connects again by itself, ever more slowly.
 *
 * `samples(time, pressure)` gets Float64Arrays, [s] on the clock of the machine since 1970, and
 * [Pa]; NaN where the gauge was lost. `state(data)` gets what the text says. `line(up, wait)` hears
 * whether the line stands, and in how many seconds it is tried again. `gone()` hears that there is
 * no such bench any more.
 *
 * Returns `send(data)`, which tells whether it went out.
 */
export function follow(bench, { samples, state, line, gone = () => {} }) {
  const address = new URL(`/live/${encodeURIComponent(bench)}`, location.href);
  address.protocol = location.protocol === "https:" ? "wss:" : "ws:";
  let socket = null, wait = FIRST_WAIT_MS, timer = 0, watch = 0;

  function heard() {
    clearTimeout(watch);
    watch = setTimeout(() => lost(), SILENT_MS);
  }
  function lost() {
    if (!socket) return;
    const old = socket;
    socket = null;
    old.onopen = old.onmessage = old.onclose = null;
    old.close();
    clearTimeout(watch);
    line(false, wait / 1000);
    timer = setTimeout(connect, wait);
    wait = Math.min(2 * wait, LONGEST_WAIT_MS);
  }
  function connect() {
    clearTimeout(timer);
    socket = new WebSocket(address);
    socket.binaryType = "arraybuffer";
    socket.onopen = () => line(true, 0);
    socket.onclose = ({ code }) => { lost(); if (code === NO_SUCH_BENCH) { clearTimeout(timer); gone(); } };
    socket.onmessage = ({ data }) => {
      heard();
      wait = FIRST_WAIT_MS;
      if (typeof data === "string") state(JSON.parse(data));
      else samples(...unpacked(data));
    };
    heard();
  }
  addEventListener("online", () => { if (!socket) connect(); });
  addEventListener("pagehide", () => { clearTimeout(timer); clearTimeout(watch); socket?.close(); });
  addEventListener("pageshow", (event) => { if (event.persisted) connect(); });
  connect();
  return {
    send(data) {
      if (socket?.readyState !== WebSocket.OPEN) return false;
      socket.send(JSON.stringify(data));
      return true;
    },
  };
}

function unpacked(buffer) {
  const first = new DataView(buffer).getFloat64(0, true);
  const pairs = new Float32Array(buffer, HEAD);
  const time = new Float64Array(pairs.length / 2), pressure = new Float64Array(pairs.length / 2);
  for (let k = 0; k < time.length; k++) {
    time[k] = first + pairs[2 * k];
    pressure[k] = pairs[2 * k + 1];
  }
  return [time, pressure];
}
