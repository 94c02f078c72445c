// What stands round the picture: the tour, words, layers, section, motions, and the labels that follow places.

const el = (id) => document.getElementById(`view-${id}`);

/** A new element with its words as text, never as markup. */
function made(tag, words = "", classes = "") {
  const element = document.createElement(tag);
  element.textContent = words;
  if (classes) element.className = classes;
  return element;
}

/** A labelled box to tick. */
function ticked(words, rgb, changed) {
  const label = made("label"), box = made("input");
  box.type = "checkbox";
  box.addEventListener("change", () => changed(box.checked));
  label.append(box);
  if (rgb) {
    const swatch = made("span", "", "view-swatch");
    swatch.style.background = `rgb(${rgb.join(",")})`;
    label.append(swatch);
  }
  label.append(made("span", words));
  return { label, box };
}

/** Fill the list of stops and the buttons of motions, and join every control to the view. */
function joinPanel(view) {
  const select = el("stop");
  for (const stop of view.data.stops) {
    if (!stop.tour) continue;
    const option = made("option", stop.word ? `${stop.id}  ${stop.word}  ${stop.title}` : stop.title);
    option.value = stop.id;
    select.append(option);
  }
  select.addEventListener("change", () => view.go(select.value));
  el("back").addEventListener("click", () => view.step(-1));
  el("on").addEventListener("click", () => view.step(1));
  el("whole").addEventListener("click", () => view.go("whole"));
  for (const motion of view.data.motions) {
    const button = made("button", `\u25b6 ${motion.title}`);
    button.type = "button";
    button.dataset.motion = motion.id;
    button.addEventListener("click", () => view.start(motion));
    el("motions").append(button);
  }
  el("play").addEventListener("click", () => view.playOrHalt());
  el("end").addEventListener("click", () => view.go(view.stop.id));
  el("time").addEventListener("input", () => view.halt(Number(el("time").value)));
  el("plane").addEventListener("change", () => view.cutAlong(el("plane").value));
  el("depth").addEventListener("input", () => view.cutAt(Number(el("depth").value)));
  el("flip").addEventListener("click", () => view.flip());
  for (const button of document.querySelectorAll("[data-side]")) {
    button.addEventListener("click", () => view.lookFrom(button.dataset.side.split(",").map(Number)));
  }
  joinLayers(view);
  joinPage(view);
}

function joinLayers(view) {
  view.boxes = new Map();
  const row = (key, words, rgb, place) => {
    const { label, box } = ticked(words, rgb, (on) => view.show(key, on));
    view.boxes.set(key, box);
    place.append(label);
  };
  for (const [layer, words] of view.data.layers) {
    const first = view.data.things.find((t) => t.layer === layer && !t.mesh?.colours);
    row(layer, words, first?.rgb, el("layers"));
  }
  if (view.data.gaps) row(":gaps", "contacts coloured by gap", null, el("layers"));
  row(":names", "names", null, el("layers"));
  for (const thing of view.data.things) {
    if (thing.role === "part" || thing.role === "fixture") row(`=${thing.name}`, thing.name, thing.rgb, el("bodies"));
  }
}

/** Give every row of the page that is a stop a button that goes there. */
function joinPage(view) {
  // Tables that are wider than the page scroll by keys, too.
  for (const wide of document.querySelectorAll(".wide")) wide.tabIndex = 0;
  for (const row of document.querySelectorAll("[data-stop]")) {
    if (!view.stops.has(row.dataset.stop)) continue;
    const button = made("button", "3-D", "to-view");
    button.type = "button";
    button.setAttribute("aria-label", `Show ${view.stops.get(row.dataset.stop).title} in 3-D`);
    button.addEventListener("click", () => {
      view.go(row.dataset.stop);
      if (!view.beside()) el("canvas").scrollIntoView({ block: "start", behavior: view.still() ? "auto" : "smooth" });
    });
    (row.querySelector(":scope > header") || row.querySelector(":scope > td") || row).append(button);
  }
}

/** The row of the page that tells what a stop shows. */
function rowOf(stop) {
  return document.querySelector(`[data-stop="${CSS.escape(stop.id)}"]`);
}

/** Say what the view shows now. */
function tell(view) {
  const { stop, motion } = view;
  const says = el("says");
  says.textContent = "";
  if (motion) {
    says.append(made("strong", `${motion.title}. `), motion.says);
  } else if (view.tapped) {
    says.append(view.tapped);
  } else {
    if (stop.word) says.append(made("span", stop.word, `badge is-${stop.verdict}`));
    says.append(made("strong", `${stop.title}. `), [...stop.lines, stop.says].filter(Boolean).join("; "));
  }
  const select = el("stop");
  if (stop.tour) select.value = stop.id;
  el("player").hidden = !motion;
  el("time").value = view.time;
  el("play").textContent = view.playing ? "Halt" : "Play";
  for (const button of el("motions").children) {
    button.setAttribute("aria-pressed", String(button.dataset.motion === motion?.id));
  }
  el("plane").value = view.cutting;
  el("depth").disabled = el("flip").disabled = !view.plane;
  el("depth").value = view.planeShare();
  for (const [key, box] of view.boxes) box.checked = view.isShown(key);
  for (const row of document.querySelectorAll("[data-stop].at-stop")) row.classList.remove("at-stop");
  rowOf(stop)?.classList.add("at-stop");
  scale(view.isShown(":gaps") && view.data.gaps ? view.data.gaps : stop.scale);
}

function scale(found) {
  const box = el("scale");
  box.hidden = !found;
  if (!found) return;
  const bar = made("div", "", "bar"), ends = made("div", "", "ends");
  bar.style.background = `linear-gradient(to right, ${found.rgb.map((c) => `rgb(${c.join(",")})`).join(", ")})`;
  ends.append(...found.ends.map((end) => made("span", end)));
  box.replaceChildren(made("div", found.title), bar, ends);
}

/** Put the labels where their places are seen: the stop's own, names of bodies, arrows, and pins of findings. */
function label(view) {
  const [wide, tall] = [view.canvas.clientWidth, view.canvas.clientHeight];
  const { stop, motion } = view, marks = [];
  const put = (element, place, dx = 0, dy = 0) => marks.push([element, view.camera.seen(place, wide, tall), dx, dy]);
  const share = motion ? view.time : 0;
  if (motion) {
    for (const mark of motion.marks) {
      const passes = Math.min(Math.abs(2 * share - mark.share), Math.abs(2 - 2 * share - mark.share)) < 0.12;
      if (passes) put(signed([mark.says], mark.verdict, ""), mark.at, 18, -46);
      if (passes) put(ring(mark.verdict, 0), mark.at, -14, -14);
    }
  } else if (stop.spot) {
    const mark = ring(stop.verdict, stop.ring_mm * tall / view.camera.shown);
    put(mark, stop.spot, -mark.radius, -mark.radius);
    const words = stop.lines.length ? stop.lines : [stop.title];
    put(signed(words, stop.verdict, stop.word && `${stop.id}  ${stop.word}`), stop.spot, 22, -74);
  }
  el("map").hidden = !view.mapped();
  if (view.mapped()) {
    const { camera, size } = view.map(), [x, y] = camera.seen(stop.spot, ...size);
    Object.assign(el("map").style, { width: `${size[0]}px`, height: `${size[1]}px` });
    const here = ring(stop.verdict, 0);
    here.style.transform = `translate(${x - 14}px, ${y - 14}px)`;
    el("map").replaceChildren(here);
  }
  if (!motion) for (const a of stop.arrows) put(signed(a.lines, "", ""), view.tail(a), 8, 8);
  const names = view.isShown(":names") ? view.names() : [];
  for (const [name, place] of names) put(made("div", name, "view-mark name"), place, -20, -10);
  el("marks").replaceChildren(...marks.map(([element]) => element));
  const taken = [];
  for (const [element, [x, y], dx, dy] of marks) {
    const [w, h] = [element.offsetWidth, element.offsetHeight];
    const isRing = element.classList.contains("ring"), isName = element.classList.contains("name");
    const [left, top] = isRing ? [x + dx, y + dy] : [clamp(x + dx, 4, wide - w - 4), clamp(y + dy, 4, tall - h - 4)];
    // Names give way to what stands there; the others are told even where their place is out of the picture.
    const covered = taken.some(([l, t, r, b]) => left < r && left + w > l && top < b && top + h > t);
    element.hidden = isName && covered;
    if (!element.hidden && !isRing) taken.push([left, top, left + w, top + h]);
    element.style.transform = `translate(${left}px, ${top}px)`;
  }
  el("axes").replaceChildren(...axes(view.camera));
  pins(view, wide, tall);
}

/** The axes of the machine as they lie in the picture. */
function axes({ right, up }) {
  return [...right].map((across, i) => {
    // An axis that points at the eye is a point, and its name would lie on another's.
    const points = Math.hypot(across, up[i]) < 0.2, [x, y] = [26 * across, -26 * up[i]];
    const axis = made("div", "", "view-axis"), name = made("span", points ? "" : "XYZ"[i]);
    axis.style.width = `${Math.hypot(x, y)}px`;
    axis.style.transform = `rotate(${Math.atan2(y, x)}rad)`;
    name.style.transform = `rotate(${-Math.atan2(y, x)}rad)`;
    axis.append(name);
    return axis;
  });
}

/** A ring of a radius in pixels, but never too small to see nor as large as the picture. */
function ring(verdict, radius) {
  const element = made("div", "", "view-mark ring");
  element.radius = clamp(radius, 14, 90);
  element.style.width = element.style.height = `${2 * element.radius}px`;
  element.style.borderColor = verdict ? `var(--${verdict})` : "var(--ink)";
  return element;
}

function signed(words, verdict, head) {
  const element = made("div", "", "view-mark label");
  element.style.borderColor = verdict ? `var(--${verdict})` : "var(--ink)";
  if (head.trim()) element.append(made("span", head, `word is-${verdict}`));
  for (const line of words) element.append(made("span", line));
  return element;
}

/** On the view of the whole and of the parts, a numbered button at every finding that is not go. */
function pins(view, wide, tall) {
  const stage = el("pins");
  const wanted = ["whole", "parts"].includes(view.stop.id) && !view.motion;
  if (!wanted) return void stage.replaceChildren();
  if (!stage.children.length) {
    for (const stop of view.data.stops) {
      if (!stop.tour || !stop.spot || !stop.verdict || stop.verdict === "go") continue;
      const pin = made("button", stop.id, `view-pin is-${stop.verdict}`);
      pin.type = "button";
      pin.setAttribute("aria-label", `${stop.word}: ${stop.title}`);
      pin.addEventListener("click", () => view.go(stop.id));
      pin.spot = stop.spot;
      stage.append(pin);
    }
  }
  for (const pin of stage.children) {
    const [x, y] = view.camera.seen(pin.spot, wide, tall);
    pin.hidden = x < 0 || x > wide || y < 0 || y > tall;
    pin.style.transform = `translate(${x - 14}px, ${y - 14}px)`;
  }
}
