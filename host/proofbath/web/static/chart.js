/* Curves on uPlot: colours from the style sheet, each line told by dash and number too. */

const DASHES = [[], [12, 4], [6, 4], [12, 3, 3, 3], [3, 3], [16, 4, 6, 4]];

export function variable(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}

/** Hours and minutes since the start of the run. */
export function clock(s) {
  const minutes = Math.floor(s / 60);
  const seconds = Math.floor(s % 60);
  const text = `${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, "0")}`;
  return seconds ? `${text}:${String(seconds).padStart(2, "0")}` : text;
}

export function stationLines() {
  return DASHES.map((dash, n) => ({ name: String(n + 1), color: `--series-${n + 1}`, dash }));
}

export const BATH_LINES = [
  { name: "set", color: "--series-set", dash: [8, 6] },
  { name: "bath", color: "--series-1", dash: [] },
];

export class Chart {
  /** `least` is the smallest span of the value axis, so that noise does not fill the picture. */
  constructor(box, lines, least) {
    this.box = box;
    this.lines = lines;
    this.least = least;
    this.data = null;
    this.build();
    new ResizeObserver(() => this.fit()).observe(box);
    for (const query of ["(prefers-color-scheme: dark)", "(prefers-contrast: more)"]) {
      matchMedia(query).addEventListener("change", () => this.build());
    }
  }

  show(data) {
    this.data = data;
    this.plot.setData(data);
  }

  fit() {
    const { clientWidth: width, clientHeight: height } = this.box;
    if (width && (width !== this.plot.width || height !== this.plot.height)) {
      this.plot.setSize({ width, height });
    }
  }

  build() {
    if (this.plot) this.plot.destroy();
    const ink = variable("--ink");
    const line = { stroke: variable("--line"), width: 1 };
    const axis = { stroke: ink, grid: line, ticks: line, font: "14px system-ui, sans-serif" };
    const options = {
      width: this.box.clientWidth || 300,
      height: this.box.clientHeight || 200,
      legend: { show: false },
      cursor: { drag: { x: false, y: false }, points: { show: false } },
      scales: { x: { time: false }, y: { range: (u, low, high) => this.range(low, high) } },
      axes: [
        { ...axis, values: (u, ticks) => ticks.map(clock), incrs: [10, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400], space: 70 },
        { ...axis, size: 56 },
      ],
      series: [{}, ...this.lines.map((one) => ({
        label: one.name,
        stroke: variable(one.color),
        width: 2,
        dash: one.dash,
        points: { show: false },
        spanGaps: false,
      }))],
      hooks: { draw: [(u) => this.number(u)] },
    };
    this.plot = new uPlot(options, this.data || [[0], ...this.lines.map(() => [null])], this.box);
  }

  range(low, high) {
    if (low === null || high === null) return [0, this.least];
    const room = Math.max(0, this.least - (high - low)) / 2 + 0.04 * (high - low);
    return [low - room, high + room];
  }

  /** Writes each line's number at its end: the lines are told apart without colour. */
  number(u) {
    const context = u.ctx;
    const ratio = devicePixelRatio;
    context.save();
    context.font = `bold ${13 * ratio}px system-ui, sans-serif`;
    context.textAlign = "right";
    let room = 4 * ratio;
    this.lines.forEach((one, n) => {
      const column = u.data[n + 1];
      let last = column.length - 1;
      while (last >= 0 && column[last] === null) last -= 1;
      if (last < 0) return;
      const x = u.valToPos(u.data[0][last], "x", true) - room;
      room += context.measureText(one.name).width + 6 * ratio;
      const y = u.valToPos(column[last], "y", true) - 4 * ratio;
      context.fillStyle = variable(one.color);
      context.fillText(one.name, x, y);
    });
    context.restore();
  }
}
