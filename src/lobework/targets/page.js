"use strict";
(() => {
  const work = JSON.parse(document.getElementById("work").textContent);
  const root = document.documentElement, canvas = document.getElementById("view"), says = document.getElementById("says");
  const calm = matchMedia("(prefers-reduced-motion: reduce)");

  // ---- the initial view; the part of the address after # may override it
  const start = { turn: work.start.turn, tip: work.start.tip, zoom: 1, lamp: work.start.lamp, from: -45, grain: 1 };
  for (const part of location.hash.slice(1).split(",")) {
    const [name, value] = part.split("=");
    if (name in start && value !== undefined && Number.isFinite(Number(value))) start[name] = Number(value);
  }
  const now = { ...start }, goal = { ...start };
  const limit = (value, low, high) => Math.min(Math.max(value, low), high);

  // ---- the work as a mesh: the carved surface, and the plain ends, rim, back and hollow
  function bytes(text) {
    const raw = atob(text), found = new Uint8Array(raw.length);
    for (let k = 0; k < raw.length; k++) found[k] = raw.charCodeAt(k);
    return found;
  }

  // Smooth the heights: a row of points at the edge of a groove would give a jagged edge. The slope map shows the fine detail.
  function smoothed(packed, rows, columns, unit) {
    const given = (i, j) => packed.getUint16(2 * (limit(i, 0, rows - 1) * columns + (j + columns) % columns), true) * unit;
    const along = new Float32Array(rows * columns), found = new Float32Array(rows * columns);
    for (let i = 0; i < rows; i++) {
      for (let j = 0; j < columns; j++) along[i * columns + j] = (given(i - 1, j) + 2 * given(i, j) + given(i + 1, j)) / 4;
    }
    for (let i = 0; i < rows; i++) {
      const row = i * columns;
      for (let j = 0; j < columns; j++) {
        found[row + j] = (along[row + (j + columns - 1) % columns] + 2 * along[row + j] + along[row + (j + 1) % columns]) / 4;
      }
    }
    return found;
  }

  function mesh() {
    const { rows, columns, profile, deepest } = work, packed = bytes(work.heights);
    const heights = smoothed(new DataView(packed.buffer), rows, columns, deepest / 65535);
    const vertices = [], index = [], wide = columns + 1;
    const cos = [], sin = [];
    for (let j = 0; j < wide; j++) {
      cos.push(Math.cos(2 * Math.PI * j / columns));
      sin.push(Math.sin(2 * Math.PI * j / columns));
    }
    const addVertex = (radius, z, out, up, j, along, carved) => vertices.push(
      radius * cos[j], radius * sin[j], z, out * cos[j], out * sin[j], up, j / columns, along, carved);
    const cut = (i, j) => heights[i * columns + j % columns];
    const addTriangles = (first, count) => {
      for (let i = 0; i + 1 < count; i++) {
        for (let j = 0; j + 1 < wide; j++) {
          const a = first + i * wide + j, b = a + wide;
          index.push(a, b, a + 1, a + 1, b, b + 1);
        }
      }
    };
    for (let i = 0; i < rows; i++) {
      const [radius, z, out, up] = profile[i];
      for (let j = 0; j < wide; j++) {
        const depth = cut(i, j);
        addVertex(radius - depth * out, z - depth * up, out, up, j, i / (rows - 1), 1);
      }
    }
    addTriangles(0, rows);
    const carved = (i, j) => {
      const [radius, z, out, up] = profile[i], depth = cut(i, j);
      return [radius - depth * out, z - depth * up];
    };
    for (const { line, from, to } of work.plain) {
      const first = vertices.length / 9, last = line.length - 1;
      for (let i = 0; i <= last; i++) {
        const [ra, za] = line[Math.max(i - 1, 0)], [rb, zb] = line[Math.min(i + 1, last)];
        const length = Math.hypot(rb - ra, zb - za) || 1, out = -(zb - za) / length, up = (rb - ra) / length;
        for (let j = 0; j < wide; j++) {
          const [radius, z] = i === 0 && from !== null ? carved(from, j) : i === last && to !== null ? carved(to, j) : line[i];
          addVertex(radius, z, out, up, j, 0, 0);
        }
      }
      addTriangles(first, line.length);
    }
    return { vertices: new Float32Array(vertices), index: new Uint32Array(index) };
  }

  // ---- shaders
  const vertexShader = `#version 300 es
in vec3 place; in vec3 faces; in vec3 spot;
uniform mat4 whole; uniform mat3 turned; uniform vec3 middle;
out vec3 at; out vec3 square; out vec3 seen; out vec3 on;
void main() {
  at = place; square = faces; on = spot;
  seen = turned * (place - middle);
  gl_Position = whole * vec4(place - middle, 1.0);
}`;

  const fragmentShader = `#version 300 es
precision highp float;
precision highp int;
in vec3 at; in vec3 square; in vec3 seen; in vec3 on;
uniform sampler2D detail, sheet;
uniform mat3 turned; uniform vec3 lamp; uniform float eye, deepest, grained, strength;
uniform vec2 span, size; uniform bool face;
uniform vec3 early, late; uniform float ring, figure, streak, pores, wander; uniform vec2 heart; uniform mat3 tree;
out vec4 colour;

// The texture "sheet" holds the same random numbers as the still picture's grain; each seed begins at another place in it.
float random_at(ivec2 cell, int seed) {
  return texelFetch(sheet, (cell + seed * ivec2(61, 97)) & 255, 0).r * (255.0 / 127.5) - 1.0;
}
float noise(float u, float v, int seed) {
  float left = floor(u), low = floor(v), a = smoothstep(0.0, 1.0, u - left), b = smoothstep(0.0, 1.0, v - low);
  ivec2 corner = ivec2(left, low);
  float under = mix(random_at(corner, seed), random_at(corner + ivec2(1, 0), seed), a);
  return mix(under, mix(random_at(corner + ivec2(0, 1), seed), random_at(corner + ivec2(1, 1), seed), a), b);
}
float contrast(float size, float dot_mm) { return clamp((size / dot_mm - 0.6) / 1.4, 0.0, 1.0); }

vec3 wood(vec3 p, float dot_mm) {
  float along = p.x, side = p.y - heart.x, under = p.z - heart.y;
  side += wander * (1.8 * noise(along / 55.0, p.y / 34.0, 1) + 0.55 * noise(along / 19.0, p.y / 9.0, 2));
  float far = length(vec2(side, under));
  float year = far / ring + 1.6 * noise(far / (5.5 * ring), along / 150.0, 3);
  float whole = floor(year), part = year - whole;
  float edge = clamp((part - 0.86) / 0.14, 0.0, 1.0);
  float rings = (part * part * (1.0 - edge * edge) - 0.28) * (0.75 + 0.45 * random_at(ivec2(int(whole), 0), 4)) * contrast(ring / 2.0, dot_mm);
  float bands = 0.75 * noise(year / 2.7, along / 190.0, 5) + noise(year / 9.0, along / 240.0, 6);
  float fibre = noise(side, along / 31.0 + under / 1.3, 9)
    + noise(side / 0.31, along / 13.0 + under / 0.31, 8) * contrast(0.31, dot_mm)
    + noise(side / 0.11, along / 5.0 + under / 0.11, 7) * contrast(0.11, dot_mm);
  float dark = 0.42 + figure * (0.62 * rings + 0.34 * bands) + 0.16 * streak * fibre;
  vec3 tone = early + clamp(dark, -0.25, 1.3) * (late - early);
  float vessel = noise(side / 0.14, along / 1.9 + under / 0.14, 10) + 0.25 * noise(side / 2.2, along / 24.0, 11);
  float open_here = clamp((vessel - (0.78 - 0.35 * pores)) / 0.22, 0.0, 1.0) * contrast(0.14, dot_mm) * step(0.001, pores);
  return max(tone * (1.0 - 0.45 * open_here), vec3(0.004));
}

void main() {
  bool carved = on.z > 0.5;
  vec3 n0 = normalize(square), t, b;
  if (face) { t = vec3(1.0, 0.0, 0.0); b = vec3(0.0, 1.0, 0.0); }
  else { t = normalize(vec3(-at.y, at.x, 0.0)); b = cross(t, n0); }
  vec2 per_mm = face ? 1.0 / span : vec2(1.0 / (6.2831853 * max(length(at.xy), 0.5)), 1.0 / span.y);
  vec2 uv = face ? at.xy / span + 0.5 : vec2(on.x, on.y) * (size - vec2(0.0, 1.0)) / size + 0.5 / size;
  vec3 sampled = texture(detail, uv).rgb;
  vec3 towards = normalize(lamp * turned);
  float depth = 0.0, open_to = 1.0, sees = 1.0;
  vec3 n = n0;
  if (carved) {
    vec2 tilt = (sampled.rg * 255.0 - 128.0) / 127.0;
    float upright = sqrt(max(1.0 - dot(tilt, tilt), 0.01));
    n = normalize(t * tilt.x + b * tilt.y + n0 * upright);
    depth = sampled.b * deepest;
    float texels = max(1.0, 0.7 * min(per_mm.x * size.x, per_mm.y * size.y));
    float hidden = 0.0;
    for (int k = 0; k < 3; k++) {
      float mm = 0.35 * pow(2.4, float(k));
      float around = textureLod(detail, uv, log2(texels * mm) + 0.5).b * deepest;
      hidden += clamp((depth - around) / mm, -0.06, 0.5);
    }
    open_to = clamp(1.0 - 0.85 * hidden, 0.1, 1.1);
    vec3 local = vec3(dot(towards, t), dot(towards, b), dot(towards, n0));
    float level = max(length(local.xy), 1e-4), climb = local.z / level;
    if (climb > 0.01) {
      vec2 go = local.xy / level;
      float texel = 1.0 / min(per_mm.x * size.x, per_mm.y * size.y), reach = min(depth / climb, 8.0);
      float horizon = -1.0;
      for (int k = 1; k <= 28; k++) {
        float far = texel + reach * pow(float(k) / 28.0, 1.6);
        float there = textureLod(detail, uv + go * far * per_mm, 0.0).b * deepest;
        horizon = max(horizon, (depth - there - deepest / 300.0) / far);
      }
      sees = clamp((climb - horizon) / 0.14 + 0.5, 0.0, 1.0);
    } else sees = 0.0;
    sees *= clamp(climb / 0.14 + 0.6, 0.0, 1.0);
  }
  vec3 look = normalize(vec3(0.0, 0.0, eye) - seen) * turned;
  float light = max(dot(n, towards), 0.0) * sees * strength;
  vec3 halfway = normalize(towards + look);
  float sheen = pow(max(dot(n, halfway), 0.0), 24.0) * min(light, 1.0);
  vec3 seen_n = turned * n;
  float room = open_to * (0.80 + 0.22 * seen_n.y + 0.08 * seen_n.z);
  float dot_mm = max(length(fwidth(at)) * 0.7, 0.01);
  vec3 own = mix(mix(early, late, 0.42), wood(tree * at, dot_mm), grained);
  float fresh = carved ? clamp(depth / 0.05, 0.0, 1.0) : 0.0;
  own = own * (1.0 + 0.10 * fresh) + 0.008 * fresh;
  vec3 lit = own * (light * vec3(0.70, 0.67, 0.62) + room * sqrt(max(room, 0.0)) * vec3(0.33, 0.335, 0.345)
    + own * clamp(1.0 - open_to, 0.0, 1.0) * (0.3 + 0.3 * light));
  lit += sheen * (1.0 - 0.35 * fresh) * vec3(0.12, 0.116, 0.109);
  lit = min(lit, 0.62) + 0.38 * (1.0 - exp(-max(lit - 0.62, 0.0) / 0.38));
  colour = vec4(mix(12.92 * lit, 1.055 * pow(lit, vec3(1.0 / 2.4)) - 0.055, step(0.0031308, lit)), 1.0);
}`;

  function compiled(gl, kind, source) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, source);
    gl.compileShader(shader);
    if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS) && !gl.isContextLost()) throw new Error(gl.getShaderInfoLog(shader));
    return shader;
  }

  let gl, program, count, where;
  const solid = mesh();

  function prepare(picture) {
    program = gl.createProgram();
    gl.attachShader(program, compiled(gl, gl.VERTEX_SHADER, vertexShader));
    gl.attachShader(program, compiled(gl, gl.FRAGMENT_SHADER, fragmentShader));
    gl.linkProgram(program);
    if (!gl.getProgramParameter(program, gl.LINK_STATUS) && !gl.isContextLost()) throw new Error(gl.getProgramInfoLog(program));
    gl.useProgram(program);
    gl.bindVertexArray(gl.createVertexArray());
    gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
    gl.bufferData(gl.ARRAY_BUFFER, solid.vertices, gl.STATIC_DRAW);
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, gl.createBuffer());
    gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, solid.index, gl.STATIC_DRAW);
    ["place", "faces", "spot"].forEach((name, k) => {
      const slot = gl.getAttribLocation(program, name);
      gl.enableVertexAttribArray(slot);
      gl.vertexAttribPointer(slot, 3, gl.FLOAT, false, 36, 12 * k);
    });
    count = solid.index.length;
    gl.activeTexture(gl.TEXTURE0);
    gl.bindTexture(gl.TEXTURE_2D, gl.createTexture());
    gl.pixelStorei(gl.UNPACK_COLORSPACE_CONVERSION_WEBGL, gl.NONE);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGB, gl.RGB, gl.UNSIGNED_BYTE, picture);
    gl.generateMipmap(gl.TEXTURE_2D);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, gl.LINEAR_MIPMAP_LINEAR);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_S, work.face ? gl.CLAMP_TO_EDGE : gl.REPEAT);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE);
    const finer = gl.getExtension("EXT_texture_filter_anisotropic");
    if (finer) gl.texParameterf(gl.TEXTURE_2D, finer.TEXTURE_MAX_ANISOTROPY_EXT, 8);
    gl.activeTexture(gl.TEXTURE1);
    gl.bindTexture(gl.TEXTURE_2D, gl.createTexture());
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.R8, 256, 256, 0, gl.RED, gl.UNSIGNED_BYTE, bytes(work.wood.sheet));
    for (const filter of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) gl.texParameteri(gl.TEXTURE_2D, filter, gl.NEAREST);
    where = name => gl.getUniformLocation(program, name);
    gl.uniform1i(where("detail"), 0);
    gl.uniform1i(where("sheet"), 1);
    gl.uniform1i(where("face"), work.face ? 1 : 0);
    gl.uniform1f(where("deepest"), work.deepest);
    gl.uniform2f(where("span"), work.span[0], work.span[1]);
    gl.uniform2f(where("size"), picture.width, picture.height);
    gl.uniform3fv(where("middle"), work.middle);
    for (const name of ["early", "late"]) gl.uniform3fv(where(name), work.wood[name]);
    for (const name of ["ring", "figure", "streak", "pores", "wander"]) gl.uniform1f(where(name), work.wood[name]);
    gl.uniform2fv(where("heart"), work.wood.heart);
    gl.uniformMatrix3fv(where("tree"), false, work.wood.tree);
    gl.enable(gl.DEPTH_TEST);
    gl.clearColor(0, 0, 0, 0);
  }

  // ---- view and controls
  const rad = degrees => degrees * Math.PI / 180;

  function attitude() { // matrix by columns: the work's axes in the coordinates right, up, towards the eye
    const a = rad(now.turn), t = rad(now.tip), ca = Math.cos(a), sa = Math.sin(a), ct = Math.cos(t), st = Math.sin(t);
    // A face is towards the eye; a round piece stands upright. Each turns about the vertical, then tips.
    const about = ([x, y, z]) => {
      const right = ca * x + sa * z, near = ca * z - sa * x;
      return [right, ct * y - st * near, st * y + ct * near];
    };
    const axes = work.face ? [[1, 0, 0], [0, 1, 0], [0, 0, 1]] : [[0, 0, 1], [1, 0, 0], [0, 1, 0]];
    return axes.flatMap(about);
  }

  function draw() {
    const wide = canvas.width, high = canvas.height, half = rad(13);
    const away = 1.05 * work.reach / Math.sin(half) / now.zoom / Math.min(1, wide / high);
    const turned = attitude(), eye = away, scale = 1 / Math.tan(half);
    const near = Math.max(away - 1.2 * work.reach, away * 0.02), far = away + 1.2 * work.reach;
    const sx = scale * high / wide, sy = scale, sz = -(far + near) / (far - near), tz = -2 * far * near / (far - near);
    const whole = [];
    for (let k = 0; k < 3; k++) {
      const [x, y, z] = turned.slice(3 * k, 3 * k + 3);
      whole.push(sx * x, sy * y, sz * z, -z);
    }
    whole.push(0, 0, sz * -away + tz, away);
    const low = rad(now.lamp), side = rad(now.from);
    const lamp = [Math.cos(low) * Math.sin(side), Math.cos(low) * Math.cos(side), Math.sin(low)];
    gl.viewport(0, 0, wide, high);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.uniformMatrix4fv(where("whole"), false, whole);
    gl.uniformMatrix3fv(where("turned"), false, turned);
    gl.uniform3fv(where("lamp"), lamp);
    gl.uniform1f(where("strength"), 0.9 / (lamp[2] + 0.22));
    gl.uniform1f(where("eye"), eye);
    gl.uniform1f(where("grained"), now.grain);
    gl.drawElements(gl.TRIANGLES, count, gl.UNSIGNED_INT, 0);
  }

  let frame = 0, last = 0;
  function requestDraw() {
    if (!frame) frame = requestAnimationFrame(step);
  }
  function step(time) {
    frame = 0;
    const part = calm.matches ? 1 : 1 - Math.exp(-Math.min(time - last, 50) / 70);
    last = time;
    let more = false;
    for (const name in now) {
      const off = goal[name] - now[name], enough = name === "zoom" ? 1e-3 : 0.05;
      now[name] = Math.abs(off) < enough || name === "grain" ? goal[name] : now[name] + off * part;
      more ||= now[name] !== goal[name];
    }
    if (gl && !gl.isContextLost()) draw();
    if (more) requestDraw();
  }
  function go(change, at_once) {
    Object.assign(goal, change);
    goal.tip = limit(goal.tip, -90, 90);
    goal.zoom = limit(goal.zoom, 0.5, 14);
    goal.lamp = limit(goal.lamp, 4, 80);
    if (at_once) Object.assign(now, goal);
    showSettings();
    requestDraw();
  }

  const lamp = document.getElementById("lamp"), from = document.getElementById("from"), grain = document.getElementById("grain");
  const sides = ["top", "upper right", "right", "lower right", "bottom", "lower left", "left", "upper left"];
  function showSettings() {
    lamp.value = goal.lamp;
    from.value = goal.from;
    grain.checked = goal.grain > 0;
    const side = sides[((Math.round(goal.from / 45) % 8) + 8) % 8];
    document.getElementById("lamp-says").textContent = `${Math.round(goal.lamp)}\u00b0 up`;
    document.getElementById("from-says").textContent = side;
    lamp.setAttribute("aria-valuetext", `${Math.round(goal.lamp)} degrees up`);
    from.setAttribute("aria-valuetext", `from the ${side}`);
  }

  const doing = {
    left: () => go({ turn: goal.turn - 15 }), right: () => go({ turn: goal.turn + 15 }),
    up: () => go({ tip: goal.tip - 15 }), down: () => go({ tip: goal.tip + 15 }),
    closer: () => go({ zoom: goal.zoom * 1.25 }), farther: () => go({ zoom: goal.zoom / 1.25 }),
    front: () => go({ turn: 0, tip: 0 }), behind: () => go({ turn: 180, tip: 0 }),
    again: () => go({ turn: work.start.turn, tip: work.start.tip, zoom: 1, lamp: work.start.lamp, from: -45, grain: 1 }),
  };
  const keys = { ArrowLeft: "left", ArrowRight: "right", ArrowUp: "up", ArrowDown: "down", "+": "closer", "=": "closer", "-": "farther", _: "farther", Home: "again" };

  function listen() {
    for (const button of document.querySelectorAll("button[data-do]")) button.addEventListener("click", doing[button.dataset.do]);
    lamp.addEventListener("input", () => go({ lamp: Number(lamp.value) }, true));
    from.addEventListener("input", () => go({ from: Number(from.value) }, true));
    grain.addEventListener("change", () => go({ grain: grain.checked ? 1 : 0 }, true));
    canvas.addEventListener("keydown", event => {
      if (event.ctrlKey || event.metaKey || event.altKey || !(event.key in keys)) return;
      event.preventDefault();
      doing[keys[event.key]]();
    });
    canvas.addEventListener("wheel", event => {
      event.preventDefault();
      go({ zoom: goal.zoom * Math.exp(-limit(event.deltaY * (event.deltaMode ? 30 : 1), -200, 200) / 500) });
    }, { passive: false });
    const held = new Map();
    let apart = 0;
    canvas.addEventListener("pointerdown", event => {
      held.set(event.pointerId, [event.clientX, event.clientY]);
      canvas.setPointerCapture(event.pointerId);
      canvas.classList.add("held");
      apart = 0;
    });
    canvas.addEventListener("pointermove", event => {
      const before = held.get(event.pointerId);
      if (!before) return;
      held.set(event.pointerId, [event.clientX, event.clientY]);
      if (held.size === 1) {
        const slow = 220 / Math.min(canvas.clientWidth, canvas.clientHeight) / Math.max(1, goal.zoom * 0.7);
        go({ turn: goal.turn + (event.clientX - before[0]) * slow, tip: goal.tip + (event.clientY - before[1]) * slow }, true);
      } else if (held.size === 2) {
        const [a, b] = [...held.values()], span = Math.hypot(a[0] - b[0], a[1] - b[1]);
        if (apart) go({ zoom: goal.zoom * span / apart }, true);
        apart = span;
      }
    });
    for (const name of ["pointerup", "pointercancel"]) {
      canvas.addEventListener(name, event => {
        held.delete(event.pointerId);
        apart = 0;
        if (!held.size) canvas.classList.remove("held");
      });
    }
    new ResizeObserver(fit).observe(canvas);
    canvas.addEventListener("webglcontextlost", event => { event.preventDefault(); still("The browser has lost the 3D picture; this is a still picture."); });
  }

  function fit() {
    const sharp = Math.min(devicePixelRatio || 1, 2);
    canvas.width = Math.max(1, Math.round(canvas.clientWidth * sharp));
    canvas.height = Math.max(1, Math.round(canvas.clientHeight * sharp));
    requestDraw();
  }

  function still(why) {
    root.classList.remove("live");
    root.dataset.view = "still";
    document.getElementById("how").hidden = true;
    says.textContent = why;
  }

  async function begin() {
    gl = canvas.getContext("webgl2", { antialias: true, alpha: true, premultipliedAlpha: true });
    if (!gl) {
      still("This browser cannot show the work in three dimensions (it has no WebGL 2); this is a still picture.");
      return;
    }
    const picture = new Image();
    picture.src = "data:image/png;base64," + work.detail;
    await picture.decode();
    prepare(picture);
    canvas.addEventListener("webglcontextrestored", () => { prepare(picture); live(); });
    listen();
    live();
  }

  function live() {
    root.classList.add("live");
    document.getElementById("how").hidden = false;
    says.textContent = "";
    showSettings();
    fit();
    requestAnimationFrame(() => requestAnimationFrame(() => { root.dataset.view = "live"; }));
  }

  begin().catch(error => {
    console.error(error);
    still("This browser could not draw the work in three dimensions; this is a still picture.");
  });
})();
