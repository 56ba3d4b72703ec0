/* The Bench page: the server says which numbers are of now and for how long; others are dashes. */
import { BATH_LINES, Chart, stationLines } from "./chart.js";
import { Live } from "./live.js";

const SIGNS = { good: "✓", warn: "▲", bad: "✕", wait: "…", plain: "•" };
const LINK = ["bad", "not known"];
const NOBODYS = new Set(["busy", "starting", "refused", "idle"]);
const MOST_POINTS = 6000;
const FIGURES_MS = 500;

const root = document.getElementById("live");
if (root) start();

function start() {
  const at = (id) => document.getElementById(id);
  const charts = {
    bath: new Chart(at("chart-bath"), BATH_LINES, 2),
    lift: new Chart(at("chart-lift"), stationLines(), 1),
    current: new Chart(at("chart-current"), stationLines(), 0.1),
  };
  let record = empty();
  let lastS = null;
  let state = null;
  let heardMs = 0;
  let heardAt = 0;
  let linkUp = false;
  let silentS = 0;
  let shownMs = 0;

  const live = new Live(root.dataset.bench, {
    begin(message) {
      record = message.history ? columns(message.history, message.state.run) : empty();
      showState(message.state);
      draw();
    },
    more(moments, all) {
      for (const one of moments) add(record, one);
      if (lastS !== null) trim(record, lastS);
      if (record.t.length > MOST_POINTS) live.look(lastS, across());
      if (!document.hidden) draw();
      if (all || performance.now() - shownMs > FIGURES_MS) figures();
    },
    state: showState,
    link(up, forS) {
      const note = at("connection");
      linkUp = up;
      silentS = forS;
      note.hidden = up;
      if (!up) {
        text(note, "No word from the server. The run does not need this page. Look at the bench itself.");
      }
      figures();
    },
  });
  setInterval(figures, FIGURES_MS);
  live.look(lastS, across());

  at("windows").addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    lastS = button.dataset.last ? Number(button.dataset.last) : null;
    for (const one of at("windows").children) one.setAttribute("aria-pressed", String(one === button));
    live.look(lastS, across());
  });

  function across() {
    return Math.max(100, Math.round(at("chart-bath").clientWidth * 0.75));
  }

  function draw() {
    const origin = record.begun;
    const hours = record.t.map((t) => t - origin);
    charts.bath.show([hours, record.setpoint, record.bath]);
    charts.lift.show([hours, ...record.lift]);
    charts.current.show([hours, ...record.current]);
  }

  /** Since the server's last word; a computer that slept is told so by its calendar alone. */
  function sinceS() {
    return Math.max(performance.now() - heardMs, Date.now() - heardAt) / 1000;
  }

  function figures() {
    if (!state) return;
    shownMs = performance.now();
    const lateS = sinceS();
    const now = linkUp && state.now.of && lateS < state.now.good_for_s ? state.now : null;
    const played = now && now.of === "run" && record.run === state.run.run_id && record.t.length;
    put("bath", number(played ? last(record.bath) : now && now.bath_c, 2));
    put("setpoint", number(played ? last(record.setpoint) : now && now.setpoint_c, 2));
    for (const card of at("stations").children) {
      const n = Number(card.dataset.station) - 1;
      text(card.querySelector(".lift"), number(played ? last(record.lift[n]) : now && now.lift_mm[n], 2));
      text(card.querySelector(".current"), number(played ? last(record.current[n]) : now && now.element_a[n], 2));
    }
    put("bath-last", now ? "" : lastWords(state.now.last, lateS));
    progress(now && state.standing !== "ended" ? state.process : null);
    put("shown", now && now.of === "run" ? (state.run.shown || []).join(" · ") : "");
    root.classList.toggle("old", !now);
    chip(at("machine"), ...(linkUp ? [state.machine.sign, state.machine.doing] : LINK));
    put("words", linkUp ? state.words : "");
    at("words").hidden = !at("words").textContent;
    if (!linkUp) put("link", `${SIGNS.bad} no connection for ${silentS.toFixed(0)} s`);
    else if (now) put("link", `${SIGNS.good} connected, numbers ${(now.age_s + lateS).toFixed(0)} s old`);
    else put("link", `${SIGNS.warn} connected, no number of now`);
  }

  function lastWords(known, lateS) {
    if (known.bath_c === null || known.age_s === null) return "";
    const ageS = known.age_s + lateS;
    const when = new Date(Date.now() - 1000 * ageS);
    const clock = when.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false });
    const day = ageS < 43200 ? "" : ` on ${when.toISOString().slice(0, 10)}`;
    return `last ${known.bath_c.toFixed(1)} °C at ${clock}${day}, ${ago(ageS)}`;
  }

  function showState(now) {
    const holder = state && state.holder ? state.holder.person : "";
    const standing = state && state.standing;
    state = now;
    heardMs = performance.now();
    heardAt = Date.now();
    linkUp = true;
    at("made").hidden = true;
    put("alarm", now.alarm);
    at("alarm").hidden = !now.alarm;
    list(at("lines"), now.lines, "p", (item, line) => { item.textContent = line; });
    at("lines").hidden = !now.lines.length;
    put("holder", now.holder ? now.holder.person + (now.holder.may_be_taken ? " (idle, may be taken)" : "") : "Nobody");
    const ours = !NOBODYS.has(now.standing);
    const step = ours ? now.standing !== "ended" && now.run.step : now.process && now.process.step;
    put("step", step || "–");
    if (now.run) run(now.run, ours);
    const acts = at("run-acts");
    if (acts) {
      acts.hidden = now.standing !== "running" && now.standing !== "stale";
      at("act-pause").hidden = now.paused;
      at("act-resume").hidden = !now.paused;
    }
    figures();
    const mine = now.holder ? now.holder.person : "";
    const other = (standing === "refused") !== (now.standing === "refused");
    if ((standing && other) || (standing && mine !== holder)) reload();
  }

  /** The buttons are the server's: they come anew when whose they are has changed. */
  function reload() {
    const typing = document.activeElement && /^(INPUT|SELECT|TEXTAREA)$/.test(document.activeElement.tagName);
    if (!typing) location.replace(`/bench?name=${encodeURIComponent(root.dataset.bench)}`);
  }

  function progress(process) {
    put("phase", process && process.phase ? process.phase : "");
    at("progress").value = process && process.fraction ? process.fraction : 0;
    const left = process ? process.left_s : null;
    put("left", left === null || left === undefined ? "–" : `${hm(left)} h`);
    put("until", left ? untilText(left) : "");
  }

  function untilText(left) {
    const speed = Number(root.dataset.speed || 1);
    const end = new Date(Date.now() + (1000 * left) / speed);
    return `until about ${end.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" })}`;
  }

  /** Shows the newest run; `ours` says that it is the one that the bench stands for. */
  function run(one, ours) {
    at("trip").hidden = !one.trip || !ours;
    put("trip-what", one.trip ? `Tripped: ${one.trip.what}` : "");
    put("trip-remedy", one.trip ? `What to do: ${one.trip.remedy}` : "");
    const title = `Run ${one.run_id}, ${one.batch} ${one.stage}, begun ${new Date(one.started).toLocaleString()}`;
    put("run-title", title);
    put("record-of", title);
    for (const card of at("stations").children) {
      const place = one.stations[Number(card.dataset.station) - 1];
      const role = place.role === "reference" ? " (reference)" : "";
      text(card.querySelector(".serial"), ours ? (place.serial || place.role) + role : "–");
      text(card.querySelector(".flags"), ours ? place.flags.join(", ") : "");
    }
    list(at("events"), [...one.events].reverse(), "li", (item, event) => {
      const when = document.createElement("span");
      when.className = "hint";
      when.textContent = `${hm(event.t_s - one.begun_s)} h `;
      const what = document.createElement("strong");
      what.textContent = `${event.kind} `;
      item.append(when, what, event.text);
    });
  }

  function put(id, words) { text(at(id), words); }
}

function text(element, words) {
  if (element.textContent !== words) element.textContent = words;
}

function chip(element, kind, word) {
  const key = `${kind} ${word}`;
  if (element.dataset.shown === key) return;
  element.dataset.shown = key;
  const outer = document.createElement("span");
  outer.className = `state ${kind}`;
  const sign = document.createElement("span");
  sign.setAttribute("aria-hidden", "true");
  sign.textContent = SIGNS[kind];
  outer.append(sign, ` ${word}`);
  element.replaceChildren(outer);
}

function list(element, things, tag, fill) {
  const key = JSON.stringify(things);
  if (element.dataset.shown === key) return;
  element.dataset.shown = key;
  element.replaceChildren(...things.map((thing) => {
    const item = document.createElement(tag);
    fill(item, thing);
    return item;
  }));
}

function hm(s) {
  const minutes = Math.max(0, Math.round(s / 60));
  return `${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, "0")}`;
}

function ago(s) {
  if (s < 60) return `${s.toFixed(0)} s ago`;
  if (s < 7200) return `${Math.floor(s / 60)} min ago`;
  return s < 172800 ? `${Math.floor(s / 3600)} h ago` : `${Math.floor(s / 86400)} days ago`;
}

function number(value, decimals) {
  return value === null || value === undefined ? "–" : value.toFixed(decimals);
}

function last(column) {
  return column.length ? column[column.length - 1] : null;
}

function empty() {
  const six = () => Array.from({ length: 6 }, () => []);
  return { run: null, begun: 0, t: [], bath: [], setpoint: [], lift: six(), current: six() };
}

function columns(history, run) {
  return {
    run: run.run_id, begun: run.begun_s, t: history.t_s, bath: history.bath_c, setpoint: history.setpoint_c,
    lift: history.lift_mm, current: history.element_a,
  };
}

function add(record, one) {
  record.t.push(one.t_s);
  record.bath.push(one.bath_c);
  record.setpoint.push(one.setpoint_c);
  for (let n = 0; n < 6; n += 1) {
    record.lift[n].push(one.lift_mm[n]);
    record.current[n].push(one.element_a[n]);
  }
}

function trim(record, lastS) {
  const from = last(record.t) - lastS;
  let count = 0;
  while (count < record.t.length && record.t[count] < from) count += 1;
  if (count < 20) return;
  for (const column of [record.t, record.bath, record.setpoint, ...record.lift, ...record.current]) {
    column.splice(0, count);
  }
}
