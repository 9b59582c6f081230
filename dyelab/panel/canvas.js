// Shows a figure that Python sends as one JSON text, and sends pictures of it back on request.
function render({ model, el }) {
  const Plotly = window.Plotly;
  const div = document.createElement("div");
  div.className = "dl-canvas";
  div.setAttribute("role", "img");
  el.append(div);
  const config = { displayModeBar: false, responsive: false, displaylogo: false };
  let width = 0; // what the figure was last drawn for

  // Drawn for the width there is. Without one (not on the page yet, or a hidden tab) the
  // observer below draws it as soon as it has one. A new width is drawn from scratch: an update
  // would leave the legend where it lay in the old one.
  function draw() {
    const text = model.get("figure");
    const before = width;
    div.setAttribute("aria-label", model.get("description"));
    el.style.display = text ? "" : "none";
    width = text ? Math.round(el.clientWidth) : 0;
    if (!width) return;
    const { data, layout } = JSON.parse(text);
    const meta = layout.meta || {};
    const height = meta.aspect ? Math.min(layout.height, Math.round(width * meta.aspect)) : layout.height;
    const set = { ...config, edits: { shapePosition: Boolean(meta.drag) } };
    const how = width === before ? Plotly.react : Plotly.newPlot;
    how(div, data, { ...layout, width, height, autosize: false }, set).then(drawn, lost);
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
    if (!meta || !meta.point || !plot || event.target.closest(".shapelayer")) return;
    const { left, top } = plot.getBoundingClientRect();
    const [x, y] = [xaxis.p2d(event.clientX - left), yaxis.p2d(event.clientY - top)];
    model.send({ kind: "pointed", x, y });
  }

  function picture(ask) {
    if (ask.kind !== "picture") return;
    const figure = JSON.parse(model.get("figure"));
    figure.layout.paper_bgcolor = "#ffffff";
    const size = { width: ask.width, height: ask.height };
    Plotly.toImage(figure, { format: ask.format, ...size, scale: ask.format === "png" ? 2 : 1 })
      .then((url) => model.send({ kind: "picture", name: ask.name, url }))
      .catch((fault) => model.send({ kind: "picture", name: ask.name, fault: String(fault) }));
  }

  const sized = new ResizeObserver(() => {
    const now = Math.round(el.clientWidth);
    if (now && now !== width) draw();
  });
  sized.observe(el);
  div.addEventListener("click", pointed);
  model.on("change:figure", draw);
  model.on("change:description", () => div.setAttribute("aria-label", model.get("description")));
  model.on("msg:custom", picture);
  draw();
  return () => {
    sized.disconnect();
    model.off("change:figure", draw);
    Plotly.purge(div);
  };
}
export default { render };
