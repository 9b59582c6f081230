// Shows a figure that Python sends as one JSON text, and sends pictures of it back on request.
function render({ model, el }) {
  const Plotly = window.Plotly;
  const div = document.createElement("div");
  div.className = "dl-canvas";
  div.setAttribute("role", "img");
  el.append(div);
  const config = { displayModeBar: false, responsive: false, displaylogo: false };

  function draw() {
    const text = model.get("figure");
    div.setAttribute("aria-label", model.get("description"));
    el.style.display = text ? "" : "none";
    if (!text) return;
    const figure = JSON.parse(text);
    delete figure.layout.width;
    const drag = { edits: { shapePosition: Boolean(figure.layout.meta && figure.layout.meta.drag) } };
    const set = { ...config, ...drag };
    Plotly.react(div, figure.data, { ...figure.layout, autosize: true }, set).then(() => {
      div.dataset.drawn = String(Number(div.dataset.drawn || 0) + 1);
      if (!div.dataset.heard) {
        div.dataset.heard = "yes";
        div.on("plotly_relayout", moved);
      }
    });
  }

  // A shape that was dragged, such as a window on a photo, is told to Python.
  function moved(change) {
    const shapes = Object.keys(change).filter((key) => key.startsWith("shapes["));
    if (shapes.length) model.send({ kind: "moved", change });
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

  let width = 0;
  const sized = new ResizeObserver(() => {
    const now = Math.round(el.clientWidth);
    if (now && now !== width && div.data) {
      width = now;
      Plotly.Plots.resize(div);
    }
  });
  sized.observe(el);
  model.on("change:figure", draw);
  model.on("change:description", () => div.setAttribute("aria-label", model.get("description")));
  model.on("msg:custom", picture);
  draw();
  // On a busy machine a first drawing can be lost while the page is still being laid out.
  let tries = 0;
  const again = setInterval(() => {
    if (div.dataset.drawn || ++tries > 20) clearInterval(again);
    else draw();
  }, 700);
  return () => {
    clearInterval(again);
    sized.disconnect();
    Plotly.purge(div);
  };
}
export default { render };
