// Shows a figure that Python sends as one JSON text, and sends pictures of it back on request.

// Plotly is kept on the page by a name of our own, once for all panels there. A served page loads
// it from the server while Python works; in JupyterLab Python sends it.
const coming = () => document.querySelector("script[data-plotly]");
const drawer = () => window.dyelabPlotly || (coming() && window.Plotly);

async function unpack(packed) {
  const plain = new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"));
  const text = await new Response(plain).text();
  const url = URL.createObjectURL(new Blob([text], { type: "text/javascript" }));
  await import(/* webpackIgnore: true */ url);
  URL.revokeObjectURL(url);
  window.dyelabPlotly = window.Plotly;
}

// What Plotly carries over from one figure to the next and must not where it is another: an axis
// that had limits of its own keeps stale ones when a later figure leaves them open.
function kept(layout) {
  const own = Object.entries(layout).filter(([name]) => /^[xy]axis/.test(name));
  return JSON.stringify(own.map(([name, axis]) => [name, "range" in axis, axis.type, axis.scaleanchor, axis.domain]));
}

function render({ model, el }) {
  const div = document.createElement("div");
  div.className = "dl-canvas";
  div.setAttribute("role", "img");
  el.append(div);
  const config = { displayModeBar: false, responsive: false, displaylogo: false };
  let width = 0; // what the figure was last drawn for
  let axes = ""; // those of the figure last drawn
  let asked = -Infinity; // when Plotly was last asked for, in ms
  let busy = false; // Plotly draws one figure at a time; the last of those that came meanwhile is next
  let waiting = false;

  // Drawn for the width there is. Without one (not on the page yet, or a hidden tab) the
  // observer below draws it as soon as it has one. A new width is drawn from scratch: an update
  // would leave the legend where it lay in the old one. So are other axes.
  function draw() {
    const text = model.get("figure");
    div.setAttribute("aria-label", model.get("description"));
    el.style.display = text ? "" : "none";
    if (!text) width = 0; // what Plotly drew while hidden has no sizes: the next is drawn from scratch
    if (busy) return (waiting = true);
    const before = axes + width;
    width = text ? Math.round(el.clientWidth) : 0;
    if (!width) return;
    if (!drawer()) return ask();
    const { data, layout } = JSON.parse(text);
    const meta = layout.meta || {};
    div.classList.toggle("dl-photo", Boolean(layout.images)); // what lies on a photo keeps its colour
    const height = meta.aspect ? Math.min(layout.height, Math.round(width * meta.aspect)) : layout.height;
    const set = { ...config, edits: { shapePosition: Boolean(meta.drag) } };
    axes = kept(layout);
    const how = axes + width === before && div.data ? drawer().react : drawer().newPlot;
    busy = true;
    const whole = { ...layout, width, height, autosize: false };
    new Promise((done) => done(how(div, data, whole, set))).then(drawn, lost).then(next);
  }

  function next() {
    busy = false;
    if (!waiting) return;
    waiting = false;
    draw();
  }

  // An answer may be lost with the line to the kernel; a later drawing asks once more.
  function ask() {
    if (coming()) return coming().addEventListener("load", draw, { once: true });
    if (performance.now() - asked < 5000) return;
    asked = performance.now();
    model.send({ kind: "program" });
  }

  function told(said, buffers) {
    if (said.kind === "picture") picture(said);
    if (said.kind === "program") (drawer() ? Promise.resolve() : unpack(buffers[0])).then(draw, lost);
  }

  function drawn() {
    div.removeListener("plotly_relayout", moved);
    div.on("plotly_relayout", moved);
    div.dataset.drawn = String(Number(div.dataset.drawn || 0) + 1);
  }

  // A drawing that failed is tried anew at the next size or figure; the page's log says why.
  function lost(fault) {
    width = 0;
    console.error(fault);
  }

  // A shape that was dragged, such as a window on a photo, is told to Python.
  function moved(change) {
    const shapes = Object.keys(change).filter((key) => key.startsWith("shapes["));
    if (shapes.length) model.send({ kind: "moved", change });
  }

  // A click on a photo that can be pointed at is told to Python, in the photo's own pixels.
  function pointed(event) {
    const { xaxis, yaxis, meta } = div._fullLayout || {};
    const plot = div.querySelector(".nsewdrag");
    if (!meta || !meta.point || !plot) return;
    const { left, top } = plot.getBoundingClientRect();
    const [x, y] = [xaxis.p2d(event.clientX - left), yaxis.p2d(event.clientY - top)];
    model.send({ kind: "pointed", x, y });
  }

  function picture(ask) {
    const figure = JSON.parse(model.get("figure"));
    figure.layout.paper_bgcolor = "#ffffff";
    const size = { width: ask.width, height: ask.height };
    drawer().toImage(figure, { format: ask.format, ...size, scale: ask.format === "png" ? 2 : 1 })
      .then((url) => model.send({ kind: "picture", name: ask.name, url }))
      .catch((fault) => model.send({ kind: "picture", name: ask.name, fault: String(fault) }));
  }

  const sized = new ResizeObserver(() => {
    const now = Math.round(el.clientWidth);
    if (now && now !== width) draw();
  });
  sized.observe(el);
  if (!drawer() && !coming()) setTimeout(() => drawer() || ask(), 1500); // before it is needed
  div.addEventListener("click", pointed);
  model.on("change:figure", draw);
  model.on("change:description", () => div.setAttribute("aria-label", model.get("description")));
  model.on("msg:custom", told);
  draw();
  return () => {
    sized.disconnect();
    model.off("change:figure", draw);
    model.off("msg:custom", told);
    if (div.data) drawer().purge(div);
  };
}
export default { render };
