// Several of a list, each ticked by itself: real tick boxes, and a field that narrows a long list.
const LONG = 12;

function render({ model, el }) {
  const set = document.createElement("fieldset");
  const legend = document.createElement("legend");
  const find = document.createElement("input");
  const list = document.createElement("div");
  set.className = "dl-ticks";
  list.className = "dl-ticks-list";
  find.type = "text";
  set.append(legend, find, list);
  el.append(set);

  function fill() {
    const [labels, chosen] = [model.get("labels"), new Set(model.get("chosen"))];
    legend.textContent = model.get("description");
    find.hidden = labels.length <= LONG;
    find.placeholder = model.get("narrow");
    find.setAttribute("aria-label", `${model.get("description")}: ${model.get("narrow")}`);
    list.style.maxHeight = `${Math.max(model.get("rows"), 4) * 1.75}rem`;
    list.replaceChildren(...labels.map((text, i) => row(text, i, chosen.has(i))));
    narrow();
  }

  function row(text, i, on) {
    const [label, box] = [document.createElement("label"), document.createElement("input")];
    box.type = "checkbox";
    box.checked = on;
    box.addEventListener("change", () => {
      const boxes = [...list.querySelectorAll("input")];
      model.set("chosen", boxes.flatMap((one, j) => (one.checked ? [j] : [])));
      model.save_changes();
    });
    label.append(box, ` ${text}`);
    return label;
  }

  // What is ticked stays in view, whatever is typed.
  function narrow() {
    const wanted = find.hidden ? "" : find.value.trim().toLowerCase();
    list.querySelectorAll("label").forEach((label) => {
      const seen = label.textContent.toLowerCase().includes(wanted) || label.firstChild.checked;
      label.hidden = !seen;
    });
  }

  function follow() {
    const chosen = new Set(model.get("chosen"));
    list.querySelectorAll("input").forEach((box, i) => { box.checked = chosen.has(i); });
  }

  find.addEventListener("input", narrow);
  model.on("change:labels", fill);
  model.on("change:chosen", follow);
  fill();
}
export default { render };
