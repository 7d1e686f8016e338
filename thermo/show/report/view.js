"use strict";
// Draws the charts and the turnable stack from the data on the page; asks for nothing else.
const CONFIG = { displaylogo: false, responsive: true, modeBarButtonsToRemove: ["toImage", "sendDataToCloud"] };
const TYPES = { float32: Float32Array, uint8: Uint8Array, uint16: Uint16Array, uint32: Uint32Array };

function data(id) {
  return JSON.parse(document.getElementById(id).textContent);
}

function numbers(packed) {
  const raw = atob(packed.base64);
  const bytes = Uint8Array.from(raw, (c) => c.charCodeAt(0));
  const found = new TYPES[packed.type](bytes.buffer);
  return packed.step === undefined ? found : Float32Array.from(found, (n) => packed.low + packed.step * n);
}

// One layer as a closed shell: both faces, and walls along the rim of its solid cells.
function shell(body, slab) {
  const [, cells] = body.quads.shape;
  const nodes = body.points.shape[1];
  const triangles = [];
  const rim = new Map();
  for (let c = 0; c < cells; c += 1) {
    if (!body.on[slab * cells + c]) continue;
    const q = [0, 1, 2, 3].map((k) => body.quad[k * cells + c]);
    for (const shift of [0, nodes]) {
      triangles.push([q[0] + shift, q[1] + shift, q[2] + shift], [q[0] + shift, q[2] + shift, q[3] + shift]);
    }
    for (let k = 0; k < 4; k += 1) {
      const [a, b] = [q[k], q[(k + 1) % 4]];
      const key = a < b ? `${a} ${b}` : `${b} ${a}`;
      if (rim.has(key)) rim.delete(key);
      else rim.set(key, [a, b]);
    }
  }
  for (const [a, b] of rim.values()) {
    triangles.push([a, b, b + nodes], [a, b + nodes, a + nodes]);
  }
  return { triangles, rim: [...rim.values()] };
}

function corners(body, slab, bend, lift) {
  const nodes = body.points.shape[1];
  const levels = body.drawn.length;
  const at = { x: [], y: [], z: [], peak: [] };
  for (const level of [slab, slab + 1]) {
    for (let n = 0; n < nodes; n += 1) {
      const i = level * nodes + n;
      at.x.push(body.place[n] + bend * body.move[i]);
      at.y.push(body.place[nodes + n] + bend * body.move[levels * nodes + i]);
      at.z.push(body.drawn[level] + lift - bend * body.move[2 * levels * nodes + i]);
      at.peak.push(body.rise[i]);
    }
  }
  return at;
}

// The edges of a layer's faces, so that layers of one temperature are told apart.
function edges(body, slab, at) {
  const nodes = body.points.shape[1];
  const line = { x: [], y: [], z: [] };
  for (const shift of [0, nodes]) {
    for (const [a, b] of body.rims[slab]) {
      for (const axis of ["x", "y", "z"]) line[axis].push(at[axis][a + shift], at[axis][b + shift], null);
    }
  }
  return { ...line, type: "scatter3d", mode: "lines", line: { color: "#e6e6e6", width: 2 }, hoverinfo: "skip", showlegend: false };
}

function traces(stack, bend, apart) {
  const made = [];
  const count = stack.bodies.reduce((sum, body) => sum + body.layers.length, 0);
  const height = stack.bodies[0].drawn[0];
  let number = 0;
  for (const body of stack.bodies) {
    body.layers.forEach((name, slab) => {
      const lift = apart * height * (1 - number / Math.max(count - 1, 1));
      number += 1;
      const at = corners(body, slab, bend * stack.bent, lift);
      const sides = body.shells[slab];
      made.push({
        type: "mesh3d", name, x: at.x, y: at.y, z: at.z, intensity: at.peak,
        i: sides.map((t) => t[0]), j: sides.map((t) => t[1]), k: sides.map((t) => t[2]),
        colorscale: "Cividis", cmin: stack.span[0], cmax: stack.span[1], showscale: number === 1,
        colorbar: { title: { text: "peak temperature, degC", side: "right" }, thickness: 14, len: 0.8 },
        lighting: { ambient: 1, diffuse: 0, specular: 0, fresnel: 0 }, flatshading: true,
        text: at.peak.map((T) => `${T.toFixed(1)} degC`), hovertemplate: "%{text}<extra>%{fullData.name}</extra>",
      });
      made.push(edges(body, slab, at));
    });
  }
  return made;
}

function drawSolid() {
  const stack = data("solid");
  for (const body of stack.bodies) {
    body.quad = numbers(body.quads);
    body.on = numbers(body.active);
    body.place = numbers(body.points);
    body.move = numbers(body.moved);
    body.rise = numbers(body.peak);
    const made = body.layers.map((_, slab) => shell(body, slab));
    body.shells = made.map((one) => one.triangles);
    body.rims = made.map((one) => one.rim);
  }
  const bend = document.getElementById("bend");
  const apart = document.getElementById("apart");
  const layout = {
    margin: { l: 0, r: 0, t: 0, b: 0 }, paper_bgcolor: "white",
    scene: {
      aspectmode: "data", camera: { eye: { x: 1.2, y: -1.5, z: 0.8 } },
      xaxis: { title: { text: "x, mm" }, autorange: "reversed" }, // z is along the beam, downwards yaxis: { title: { text: "y along the scan, mm" } },
      zaxis: { title: { text: "" }, showticklabels: false },
    },
    uirevision: "kept",
  };
  const place = document.getElementById("solid-view");
  const draw = () => Plotly.react(place, traces(stack, Number(bend.value), Number(apart.value)), layout, CONFIG);
  bend.addEventListener("input", draw);
  apart.addEventListener("input", draw);
  place.addEventListener("keydown", (event) => turn(place, event));
  return draw();
}

// Arrow keys turn the view about the beam and tilt it.
function turn(place, event) {
  const step = { ArrowLeft: [0.15, 0], ArrowRight: [-0.15, 0], ArrowUp: [0, 0.12], ArrowDown: [0, -0.12] }[event.key];
  if (!step) return;
  event.preventDefault();
  const eye = place.layout.scene.camera.eye;
  const far = Math.hypot(eye.x, eye.y, eye.z);
  const angle = Math.atan2(eye.y, eye.x) + step[0];
  const tilt = Math.max(-1.5, Math.min(1.5, Math.asin(eye.z / far) + step[1]));
  const flat = far * Math.cos(tilt);
  Plotly.relayout(place, {
    "scene.camera.eye": { x: flat * Math.cos(angle), y: flat * Math.sin(angle), z: far * Math.sin(tilt) },
  });
}

async function drawAll() {
  document.documentElement.classList.remove("no-script");
  for (const [id, chart] of Object.entries(data("charts"))) {
    await Plotly.newPlot(id, chart.data, chart.layout, CONFIG);
  }
  await drawSolid();
  document.documentElement.dataset.drawn = "yes";
}

drawAll().catch((error) => {
  document.documentElement.classList.add("no-script");
  document.getElementById("solid-words").textContent = `The view could not be drawn here: ${error.message}`;
});
