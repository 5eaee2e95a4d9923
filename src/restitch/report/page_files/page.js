"use strict";
/* The page's own script: unpack both designs, draw them as thread, play, decide. */
(async () => {
  const $ = (id) => document.getElementById(id);
  const data = JSON.parse($("page-data").textContent);
  const JUMP = 1, TRIM = 2, CHANGE = 3, STOP = 4, CHANGED = 8, KIND = 7;

  async function inflate(text) {
    const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
    return new Uint8Array(await new Response(stream).arrayBuffer());
  }

  /* One design: x and y in 0.1 mm, the flag of the move to each point, its object and colour. */
  async function unpack(design) {
    const raw = await inflate(design.stitches), n = design.count;
    const dx = new Int16Array(raw.buffer, 0, n), dy = new Int16Array(raw.buffer, 2 * n, n);
    const owner = new Uint16Array(raw.buffer, 4 * n, n), flag = new Uint8Array(raw.buffer, 6 * n, n);
    const x = new Int32Array(n), y = new Int32Array(n), block = new Uint16Array(n);
    for (let i = 0, px = 0, py = 0, b = 0; i < n; i++) {
      px += dx[i]; py += dy[i];
      x[i] = px; y[i] = py;
      if ((flag[i] & KIND) === CHANGE) b++;
      block[i] = b;
    }
    return { n, x, y, flag, owner, block, colours: design.colours, names: design.names, objects: design.objects };
  }

  const designs = { before: await unpack(data.before), after: await unpack(data.after) };

  /* 64 shades of a thread, from the shadow of a strand to its ridge. */
  function shades(hex) {
    const rgb = [1, 3, 5].map((k) => parseInt(hex.slice(k, k + 2), 16)), table = new Uint32Array(64);
    for (let s = 0; s < 64; s++) {
      const light = 0.3 + 0.85 * (s / 63), shine = Math.max(0, s - 56) * 3;
      const [r, g, b] = rgb.map((v) => Math.min(255, Math.round(v * Math.min(1, light) + shine)));
      table[s] = (255 << 24) | (b << 16) | (g << 8) | r;
    }
    return table;
  }
  for (const d of Object.values(designs)) d.shades = d.colours.map(shades);
  const PALE = shades("#c9c4b8");

  /* Draw stitches [from, to) as strands of 0.4 mm thread into pixels, later ones on top. */
  function strands(d, pixels, w, h, view, from, to, onlyChanged) {
    const scale = view.scale, width = Math.max(0.45, 2 * scale), rows = Math.max(1, Math.ceil(width * 1.3));
    for (let i = Math.max(1, from); i < to; i++) {
      if (d.flag[i] & KIND) continue;
      const ax = (d.x[i - 1] - view.x) * scale + w / 2, ay = (d.y[i - 1] - view.y) * scale + h / 2;
      const bx = (d.x[i] - view.x) * scale + w / 2, by = (d.y[i] - view.y) * scale + h / 2;
      if (Math.max(ax, bx) < -9 || Math.min(ax, bx) > w + 9 || Math.max(ay, by) < -9 || Math.min(ay, by) > h + 9) continue;
      const length = Math.hypot(bx - ax, by - ay);
      if (!length) continue;
      const ux = (bx - ax) / length, uy = (by - ay) / length;
      const sheen = 0.8 + 0.22 * Math.abs(ux * 0.6 - uy * 0.8), steps = Math.ceil(length / 0.75);
      const table = onlyChanged && !(d.flag[i] & CHANGED) ? PALE : d.shades[d.block[i]];
      const needle = 3.5 * scale;
      for (let r = 0; r < rows; r++) {
        const o = rows > 1 ? (2 * r) / (rows - 1) - 1 : 0;
        const across = 0.38 + 0.62 * Math.sqrt(1 - o * o * 0.96) + 0.16 * o * (ux - uy) * 0.5;
        const ox = -uy * o * width / 2 * 2 * 0.5, oy = ux * o * width / 2 * 2 * 0.5;
        for (let s = 0; s <= steps; s++) {
          const t = (s / steps) * length, edge = Math.min(t, length - t) / needle;
          const along = edge < 1 ? 0.72 + 0.28 * edge : 1;
          const px = (ax + ux * t + ox) | 0, py = (ay + uy * t + oy) | 0;
          if (px < 0 || py < 0 || px >= w || py >= h) continue;
          const tone = sheen * along * across * 63;
          pixels[py * w + px] = table[tone > 63 ? 63 : tone < 0 ? 0 : tone | 0];
        }
      }
    }
  }

  const CLOTH = (255 << 24) | (0xd8 << 16) | (0xe4 << 8) | 0xe9;
  function sheet(canvas, w, h) {
    if (canvas.width !== w || canvas.height !== h) { canvas.width = w; canvas.height = h; }
    const context = canvas.getContext("2d"), image = context.createImageData(w, h);
    const pixels = new Uint32Array(image.data.buffer).fill(CLOTH);
    return { context, image, pixels };
  }
  function paint(canvas, d, w, h, view, to, onlyChanged) {
    const s = sheet(canvas, w, h);
    strands(d, s.pixels, w, h, view, 0, to === undefined ? d.n : to, onlyChanged);
    s.context.putImageData(s.image, 0, 0);
    return s;
  }

  /* ---- before and after ---- */
  const box = data.box, middle = { x: (box[0] + box[2]) / 2, y: (box[1] + box[3]) / 2 };
  const view = { x: middle.x, y: middle.y, scale: 1 };
  const stage = $("stage");
  function fitted(w, h, b) { return 0.94 * Math.min(w / Math.max(20, b[2] - b[0]), h / Math.max(20, b[3] - b[1])); }
  const pair = () => stage.classList.contains("pair");
  function stageSize() {
    const whole = Math.min(stage.clientWidth, 1400), w = pair() ? Math.floor(whole / 2) - 2 : whole;
    const h = Math.round(Math.min(w * Math.min(1, Math.max(0.5, (box[3] - box[1]) / (box[2] - box[0]))), 900));
    return [w, h];
  }
  let waiting = false;
  function redraw() {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => {
      waiting = false;
      const [w, h] = stageSize();
      stage.style.height = h + "px";
      const only = $("only-changed").checked;
      paint($("picture-before"), designs.before, w, h, view, undefined, only);
      paint($("picture-after"), designs.after, w, h, view, undefined, only);
      edge();
      document.documentElement.dataset.ready = "yes";
    });
  }
  function edge() {
    const at = $("edge").value;
    $("picture-after").parentElement.style.clipPath = pair() ? "none" : `inset(0 0 0 ${at}%)`;
    $("edge-line").style.left = at + "%";
  }
  function whole() {
    const [w, h] = stageSize();
    view.x = middle.x; view.y = middle.y; view.scale = fitted(w, h, box);
    redraw();
  }
  function zoom(factor) { view.scale = Math.min(20, Math.max(0.02, view.scale * factor)); redraw(); }
  $("edge").addEventListener("input", edge);
  $("only-changed").addEventListener("change", redraw);
  $("zoom-in").addEventListener("click", () => zoom(1.5));
  $("zoom-out").addEventListener("click", () => zoom(1 / 1.5));
  $("zoom-all").addEventListener("click", whole);
  for (const radio of document.getElementsByName("arrangement")) {
    radio.addEventListener("change", () => { stage.className = radio.value; whole(); });
  }
  stage.addEventListener("wheel", (e) => { if (e.ctrlKey || e.shiftKey) { e.preventDefault(); zoom(e.deltaY < 0 ? 1.2 : 1 / 1.2); } }, { passive: false });
  let drag = null;
  stage.addEventListener("pointerdown", (e) => { drag = [e.clientX, e.clientY]; stage.setPointerCapture(e.pointerId); });
  stage.addEventListener("pointermove", (e) => {
    if (!drag) return;
    view.x -= (e.clientX - drag[0]) / view.scale; view.y -= (e.clientY - drag[1]) / view.scale;
    drag = [e.clientX, e.clientY];
    redraw();
  });
  for (const name of ["pointerup", "pointercancel"]) stage.addEventListener(name, () => { drag = null; });
  stage.addEventListener("keydown", (e) => {
    const step = 40 / view.scale;
    const move = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[e.key];
    if (move) { view.x += move[0]; view.y += move[1]; redraw(); e.preventDefault(); }
    else if (e.key === "+" || e.key === "=") zoom(1.5);
    else if (e.key === "-") zoom(1 / 1.5);
    else if (e.key === "0") whole();
  });

  /* ---- layers of thread ---- */
  const limit = data.limit;
  const RAMP = ["#e9e4d8", "#bcd9cf", "#7fbfae", "#e3c567", "#dd8f3c", "#b9442b", "#6d1f2c"];
  function layerColour(v) { return RAMP[Math.min(RAMP.length - 1, Math.round(v))]; }
  async function drawStack(id, map) {
    const cells = await inflate(map.layers), canvas = $(id), k = Math.max(1, Math.floor(900 / map.columns));
    canvas.width = map.columns * k; canvas.height = map.rows * k;
    const context = canvas.getContext("2d");
    context.fillStyle = RAMP[0];
    context.fillRect(0, 0, canvas.width, canvas.height);
    for (let r = 0; r < map.rows; r++) {
      for (let c = 0; c < map.columns; c++) {
        const v = cells[r * map.columns + c] / 10;
        if (v < 0.5) continue;
        context.fillStyle = v > limit && (r + c) % 4 === 0 ? "#111" : layerColour(v);
        context.fillRect(c * k, r * k, k, k);
      }
    }
  }
  for (let v = 0; v < RAMP.length; v++) {
    const part = document.createElement("div");
    part.style.setProperty("--c", RAMP[v]);
    part.textContent = v === RAMP.length - 1 ? v + " and more" : v;
    if (v > limit) part.className = "over";
    $("stack-legend").append(part);
  }

  /* ---- sewing ---- */
  const sew = { at: 0, playing: false, sheet: null, drawn: 0, last: 0 };
  const canvas = $("sew-canvas"), slider = $("sew-at");
  const sewView = () => ({ x: middle.x, y: middle.y, scale: fitted(canvas.width, canvas.height, box) });
  function sewDesign() { return designs[$("sew-version").value]; }
  function sewReset() {
    const d = sewDesign();
    slider.max = d.n;
    slider.value = sew.at = d.n;
    canvas.width = 1000;
    canvas.height = Math.round(Math.min(1000, 1000 * Math.max(0.3, (box[3] - box[1]) / (box[2] - box[0]))));
    sew.sheet = null;
    sewDraw();
  }
  function sewDraw() {
    const d = sewDesign(), w = canvas.width, h = canvas.height, v = sewView();
    if (!sew.sheet || sew.at < sew.drawn) { sew.sheet = sheet(canvas, w, h); sew.drawn = 0; }
    strands(d, sew.sheet.pixels, w, h, v, sew.drawn, sew.at, false);
    sew.drawn = sew.at;
    const context = sew.sheet.context;
    context.putImageData(sew.sheet.image, 0, 0);
    const px = (i) => (d.x[i] - v.x) * v.scale + w / 2, py = (i) => (d.y[i] - v.y) * v.scale + h / 2;
    context.strokeStyle = context.fillStyle = "#22302f";
    context.font = "bold 16px sans-serif";
    for (let i = 1; i < sew.at; i++) {
      const kind = d.flag[i] & KIND;
      if (!kind) continue;
      context.setLineDash([5, 4]);
      context.beginPath(); context.moveTo(px(i - 1), py(i - 1)); context.lineTo(px(i), py(i)); context.stroke();
      if (kind === TRIM) context.fillText("x", px(i - 1) - 4, py(i - 1) + 5);
      if (kind === CHANGE) context.fillText("\u25c6", px(i) - 6, py(i) + 5);
    }
    context.setLineDash([]);
    const i = Math.max(0, Math.min(d.n - 1, sew.at - 1));
    context.lineWidth = 2;
    context.beginPath(); context.moveTo(px(i) - 12, py(i)); context.lineTo(px(i) + 12, py(i)); context.moveTo(px(i), py(i) - 12); context.lineTo(px(i), py(i) + 12); context.stroke();
    context.lineWidth = 1;
    const name = d.objects[d.owner[i]] || "between objects";
    $("sew-status").textContent = `Stitch ${sew.at.toLocaleString("en")} of ${d.n.toLocaleString("en")}: ${name}, colour ${d.block[i] + 1} ${d.names[d.block[i]]}`;
  }
  function tick(now) {
    if (!sew.playing) return;
    const d = sewDesign(), passed = Math.min(0.1, (now - sew.last) / 1000);
    sew.last = now;
    sew.at = Math.min(d.n, sew.at + Math.max(1, Math.round(passed * $("sew-speed").value)));
    slider.value = sew.at;
    sewDraw();
    if (sew.at >= d.n) return play(false);
    requestAnimationFrame(tick);
  }
  function play(on) {
    sew.playing = on;
    $("sew-play").textContent = on ? "Pause" : "Play";
    $("sew-play").setAttribute("aria-pressed", on);
    if (!on) return;
    if (sew.at >= sewDesign().n) sew.at = 0;
    sew.last = performance.now();
    requestAnimationFrame(tick);
  }
  $("sew-play").addEventListener("click", () => play(!sew.playing));
  slider.addEventListener("input", () => { play(false); sew.at = Number(slider.value); sewDraw(); });
  $("sew-version").addEventListener("change", () => { play(false); sewReset(); });

  /* ---- changes ---- */
  for (const button of document.querySelectorAll(".show")) {
    button.addEventListener("click", () => {
      const spot = button.nextElementSibling;
      spot.hidden = !spot.hidden;
      button.textContent = spot.hidden ? "show the spot" : "hide the spot";
      if (spot.hidden || spot.childElementCount) return;
      const b = button.dataset.box.split(",").map((v, k) => Number(v) * 10 + data.centre[k % 2]);
      const around = { x: (b[0] + b[2]) / 2, y: (b[1] + b[3]) / 2 };
      for (const which of ["before", "after"]) {
        const figure = document.createElement("div"), picture = document.createElement("canvas"), words = document.createElement("span");
        words.textContent = which;
        figure.append(picture, words);
        spot.append(figure);
        paint(picture, designs[which], 360, 260, { ...around, scale: Math.min(4, 0.85 * fitted(360, 260, b)) });
      }
    });
  }
  const switches = [...document.querySelectorAll("[data-keep]")];
  const vetoes = () => switches.filter((s) => !s.checked && !s.disabled);
  function totals() {
    const out = vetoes();
    for (const s of switches) s.closest("li").classList.toggle("vetoed", !s.checked && !s.disabled);
    const back = out.reduce((sum, s) => sum + Number(s.dataset.stitches), 0);
    const stitches = data.after_stitches + back;
    for (const cell of document.querySelectorAll('[data-total="stitches"]')) cell.textContent = stitches.toLocaleString("en");
    for (const cell of document.querySelectorAll('[data-saved="stitches"]')) cell.textContent = (data.before_stitches - stitches).toLocaleString("en");
    $("decide-words").textContent = out.length
      ? `${out.length} vetoed; about ${(data.before_stitches - stitches).toLocaleString("en")} stitches saved then (the next run gives exact figures).`
      : "All changes kept.";
  }
  for (const s of switches) s.addEventListener("change", totals);
  function decisions() {
    const lines = [`# Decisions for ${data.file}; true source sha256 ${data.digest}`, "[changes]"];
    for (const s of switches) if (!s.disabled) lines.push(`"${s.dataset.keep}" = "${s.checked ? "accept" : "veto"}"`);
    return lines.join("\n") + "\n";
  }
  $("export-decisions").addEventListener("click", () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([decisions()], { type: "application/toml" }));
    link.download = "decisions.toml";
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  });
  window.restitchDecisions = decisions;
  $("print-sheet").addEventListener("click", () => window.print());

  /* The picture first: whoever opens the page can use it while the rest is drawn. */
  whole();
  window.addEventListener("resize", whole);
  setTimeout(async () => {
    await drawStack("stack-before", data.stack.before);
    await drawStack("stack-after", data.stack.after);
    sewReset();
    document.documentElement.dataset.drawn = "yes";
  }, 50);
})();
