"use strict";
(() => {
  const all = JSON.parse(document.getElementById("moves").textContent);
  const byId = (id) => document.getElementById(id);
  const set = (node, values) => { for (const key in values) node.setAttribute(key, values[key]); };
  const play = byId("play"), when = byId("when"), now = byId("now");
  const count = all.ms.length;
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  const bodies = Object.entries(all.bodies).map(([name, moved]) =>
    [[...document.querySelectorAll("svg.machine [data-body]")].filter((g) => g.dataset.body === name), moved]);
  const plots = [...document.querySelectorAll("svg.plot")].map((svg) => [svg.querySelector(".now"), svg.querySelector(".nowdot")])
    .filter(([line]) => line);

  const draw = (k) => {
    for (const [groups, moved] of bodies) for (const g of groups) set(g, { transform: `translate(${moved[k][0]} ${moved[k][1]})` });
    all.runs.forEach((run, n) => set(byId(`run${n}`), { d: run.d[k], "stroke-width": run.w[k] }));
    all.arms.forEach((arm, n) => set(byId(`arm${n}`), { x1: arm[k][0], y1: arm[k][1], x2: arm[k][2], y2: arm[k][3] }));
    const [x, y] = all.tool[k], [u, v] = all.asked[k], [w, h] = all.carriage;
    set(byId("tool"), { cx: x, cy: y });
    set(byId("askeddot"), { cx: u, cy: v });
    set(byId("asked"), { x: u - w / 2, y: v - h / 2 });
    set(byId("way"), { x1: u, y1: v, x2: x, y2: y });
    for (const [line, dot] of plots) {
      const d = line.dataset, share = (all.ms[k] - d.t0) / (d.t1 - d.t0);
      const at = +d.left + share * (d.right - d.left);
      set(line, { x1: at, x2: at });
      set(dot, { cx: at, cy: dot.dataset.zero - all.off[k] * dot.dataset.um });
    }
    const told = `${all.ms[k] >= 0 ? "+" : "\u2212"}${Math.abs(all.ms[k]).toFixed(0)} ms`;
    now.textContent = told;
    when.setAttribute("aria-valuetext", `${told} from the stop, ${Math.abs(all.off[k]).toFixed(0)} micrometres off the line`);
  };

  let running = 0, began = 0, from = 0;
  const slow = 50, stop = () => { cancelAnimationFrame(running); running = 0; play.textContent = "Play"; };
  const at = (ms) => { let k = 0; while (k + 1 < count && all.ms[k + 1] <= ms) k += 1; return k; };
  const step = (time) => {
    const ms = from + (time - began) / slow;
    when.value = at(ms);
    draw(+when.value);
    if (ms >= all.ms[count - 1]) stop(); else running = requestAnimationFrame(step);
  };
  play.addEventListener("click", () => {
    if (running) { stop(); return; }
    if (+when.value >= count - 1) when.value = 0;
    if (calm.matches) { when.value = Math.min(count - 1, +when.value + Math.ceil(count / 12)); draw(+when.value); return; }
    from = all.ms[+when.value];
    began = performance.now();
    play.textContent = "Pause";
    running = requestAnimationFrame(step);
  });
  when.addEventListener("input", () => { stop(); draw(+when.value); });
  when.max = count - 1;
  when.value = at(5);
  draw(+when.value);
  if (calm.matches) play.title = "moves on by one step: motion is reduced";
})();
