// A clock: every colour and grade was computed when the page was made; this only shows them.
(() => {
  // a blank such as {count:# swatch|# swatches} takes its first form for 1, as in words.say
  const say = (key, values = {}) => CLOCK[key].replace(/\{(\w+)(?::([^|}]*)\|([^}]*))?\}/g, (_, name, one, many) =>
    one === undefined ? values[name] : (String(values[name]) === "1" ? one : many).replace("#", values[name]));
  const make = (tag, given = {}, ...inside) => {
    const made = document.createElement(tag);
    Object.entries(given).forEach(([name, value]) => made.setAttribute(name, value));
    made.append(...inside);
    return made;
  };
  const paint = (span, fill, inside = true) => {
    span.style.background = fill;
    span.className = "fill" + (fill ? "" : " blank") + (inside ? "" : " outside");
  };
  function row(hand, small) {
    const before = make("span", { class: "fill" }), now = make("span", { class: "fill" });
    const least = make("span"), most = make("span"), said = make("span"), known = make("small");
    const corners = make("span", { class: "corners", "aria-hidden": "true" }, least, most);
    paint(before, hand.shades[0].fill, hand.shades[0].inside);
    const pair = make("div", { class: "pair" }, before, make("div", {}, now, corners));
    const told = make("div", { class: "said" }, said, known);
    const box = make("li", { class: small ? "small" : "" }, make("b", {}, hand.name), pair, told);
    const show = (at) => {
      const shade = at === null ? { fill: "", known: "untold" } : hand.shades[at];
      paint(now, shade.fill, shade.inside !== false);
      corners.hidden = small || !shade.fill || !shade.least || !shade.most;
      least.style.background = shade.least; most.style.background = shade.most;
      said.textContent = shade.fill && shade.known !== "before" ? say("grade", { said: shade.said }) + " · " : "";
      known.textContent = say(shade.known);
    };
    return [box, show];
  }
  for (const root of document.querySelectorAll(".clock")) {
    const data = JSON.parse(root.nextElementSibling.textContent), doses = data.doses;
    const slider = make("input", { type: "range", min: 0, max: doses.length - 1, step: 1, "aria-label": say("slider") });
    const places = make("select", { "aria-label": say("where") }, ...data.places.map(([name, lux]) => make("option", { value: lux }, name)));
    const lux = make("input", { type: "number", min: 1, max: 150000, value: data.places[0][1], "aria-label": say("lux") });
    const clock = make("p", { class: "time", role: "status" }), run = make("button", { type: "button" }, say("run"));
    const rows = [...data.hands.map((hand) => row(hand, false))], refs = data.beside.map((hand) => row(hand, true));
    const level = () => Math.min(150000, Math.max(1, Number(lux.value) || data.places[0][1]));
    let beyond = null, running = 0;
    const moments = data.moments.map(([name, hours]) => {
      const button = make("button", { type: "button" }, name);
      button.addEventListener("click", () => { halt(); set(hours); });
      return button;
    });
    function set(hours) {
      const dose = hours * level(), last = doses[doses.length - 1];
      beyond = dose > last * 1.001 ? hours : null;
      let near = 0;
      doses.forEach((one, i) => { if (Math.abs(one - dose) < Math.abs(doses[near] - dose)) near = i; });
      slider.value = near; show();
    }
    function show() {
      const at = Number(slider.value), dose = beyond === null ? doses[at] : beyond * level(), hours = dose / level();
      const round = (value) => (value < 10 ? Number(value.toPrecision(2)) : Math.round(value)).toLocaleString("en");
      const mark = beyond === null && data.marks.length ? data.marks[at] : "";
      const lines = [say("hours", { hours: round(hours), days: round(hours / 12) }), say("dose", { dose: Number((dose / 1e6).toPrecision(3)) }), mark];
      clock.textContent = lines.filter(Boolean).join(" · ");
      [...rows, ...refs].forEach(([, paintRow]) => paintRow(beyond === null ? at : null));
      moments.forEach((button, i) => button.setAttribute("aria-pressed", String(Math.abs(data.moments[i][1] - hours) < 1e-6 * (1 + hours))));
    }
    function halt() { clearInterval(running); running = 0; run.textContent = say("run"); }
    run.addEventListener("click", () => {
      if (running) return halt();
      if (Number(slider.value) >= doses.length - 1 || beyond !== null) { beyond = null; slider.value = 0; }
      run.textContent = say("stop");
      running = setInterval(() => { slider.value = Number(slider.value) + 1; show(); if (Number(slider.value) >= doses.length - 1) halt(); }, 120);
    });
    slider.addEventListener("input", () => { halt(); beyond = null; show(); });
    places.addEventListener("change", () => { const hours = doses[Number(slider.value)] / level(); lux.value = places.value; set(hours); });
    lux.addEventListener("change", () => show());
    const heads = refs.length ? [make("h2", {}, say("references")), make("ul", { class: "hands beside" }, ...refs.map(([box]) => box))] : [];
    root.append(make("div", { class: "dial" }, clock, slider), make("div", { class: "moments" }, ...moments, run),
      make("div", { class: "fields" }, make("label", {}, say("where"), places), make("label", {}, lux, say("lux"))),
      make("ul", { class: "hands" }, ...rows.map(([box]) => box)), make("p", { class: "small" }, say("corners")), ...heads);
    set(data.opens_at);
  }
})();
