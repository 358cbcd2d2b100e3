// What a page must hold to, beyond axe's rules. Loaded once into a page under test; each answers with sentences.
window.examine = (() => {
  const CONTROLS = "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']";
  const shown = (element) => element.checkVisibility({ visibilityProperty: true }) && element.getClientRects().length > 0;
  const said = (element) => `<${element.tagName.toLowerCase()}${element.id ? ` id=${element.id}` : ""} ${element.className || element.name || ""}> ${(element.getAttribute("aria-label") || element.textContent || element.value || "").trim().slice(0, 40)}`;
  const controls = () => [...document.querySelectorAll(CONTROLS)].filter((one) => shown(one) && one.tabIndex >= 0 && !one.matches("[disabled], .skip"));

  // A tick's label can be pressed too. It counts as one target with it.
  const target = (control) => {
    const label = control.matches("[type=checkbox], [type=radio]") && control.labels[0];
    const boxes = [control, ...(label ? [label] : [])].map((one) => one.getBoundingClientRect());
    return {
      width: Math.max(...boxes.map((box) => box.right)) - Math.min(...boxes.map((box) => box.left)),
      height: Math.max(...boxes.map((box) => box.height)),
    };
  };
  // WCAG 2.2, 2.5.8, "Inline": a link in a sentence is as high as the line.
  const inSentence = (control) => control.matches("a") && getComputedStyle(control).display === "inline"
    && control.parentElement.textContent.trim() !== control.textContent.trim();

  const tooSmall = (pixels, which) => controls()
    .filter((one) => one.matches(which) && !inSentence(one))
    .filter((one) => { const box = target(one); return box.width < pixels - 0.5 || box.height < pixels - 0.5; })
    .map((one) => { const box = target(one); return `${Math.round(box.width)} by ${Math.round(box.height)} px, not ${pixels}: ${said(one)}`; });

  const tooWide = () => {
    const room = document.documentElement.clientWidth;
    if (document.documentElement.scrollWidth <= room) return [];
    const over = [...document.body.querySelectorAll("*")].filter((one) => shown(one) && one.getBoundingClientRect().right > room + 0.5);
    return [`wider than ${innerWidth} px: ${over.slice(-3).map(said).join("; ")}`];
  };

  const headings = () => {
    const levels = [...document.querySelectorAll("h1, h2, h3, h4, h5, h6")].filter(shown).map((one) => Number(one.tagName[1]));
    const jumps = levels.filter((level, place) => level > (place ? levels[place - 1] : 0) + 1);
    return levels.filter((level) => level === 1).length === 1 && jumps.length === 0 ? [] : [`headings go ${levels.join(" ")}`];
  };

  // A table says what it is about: by its own caption, or by the heading of its section.
  const tables = () => [...document.querySelectorAll("main table")].flatMap((table) => [
    ...(table.caption || table.getAttribute("aria-labelledby") || table.getAttribute("aria-label") ? [] : ["a table without a name"]),
    ...[...table.querySelectorAll("th:not([scope])")].map((one) => `a heading cell without scope: ${said(one)}`),
  ]);

  // Each error is tied to its field, which says that it is wrong.
  const errors = () => [...document.querySelectorAll(".field-wrong")].flatMap((field) => {
    const list = field.querySelector(".errorlist");
    const tied = list && list.id && document.querySelector(`[aria-describedby~="${list.id}"]`);
    return tied ? [] : [`an error tied to nothing: ${said(field)}`];
  });

  const ids = () => {
    const all = [...document.querySelectorAll("[id]")].map((one) => one.id);
    return all.filter((id, place) => all.indexOf(id) !== place).map((id) => `id ${id} twice`);
  };

  // --- the keyboard -------------------------------------------------------------------------------------
  const oneOfAGroup = (control) => {
    if (control.type !== "radio" || !control.name) return true;
    const group = [...(control.form || document).querySelectorAll("input[type=radio]")].filter((one) => one.name === control.name);
    return control === (group.find((one) => one.checked) || group[0]);
  };
  let stops = [];
  const reached = [];
  const unseen = [];
  const watch = () => {
    stops = [...document.querySelectorAll(CONTROLS)].filter((one) => shown(one) && !one.disabled && one.tabIndex >= 0 && oneOfAGroup(one));
    document.activeElement.blur();
    document.addEventListener("focusin", (event) => {
      reached.push(stops.indexOf(event.target));
      const style = getComputedStyle(event.target);
      if (style.outlineStyle === "none" || parseFloat(style.outlineWidth) < 2) unseen.push(`focus is not seen on ${said(event.target)}`);
    });
    return stops.length;
  };
  const walked = () => reached.includes(stops.length - 1) && new Set(reached).size >= stops.length;
  const walk = () => {
    const first = reached.filter((stop, place) => stop >= 0 && reached.indexOf(stop) === place);
    const missed = stops.filter((_, stop) => !first.includes(stop)).map((one) => `Tab does not reach ${said(one)}`);
    // From the last control Tab goes on with the first: once back is not out of order.
    const back = first.filter((stop, place) => place && stop < first[place - 1]).map((stop) => `Tab goes back to ${said(stops[stop])}`);
    return [...missed, ...back.slice(1), ...unseen];
  };

  return { tooSmall, tooWide, headings, tables, errors, ids, watch, walked, walk };
})();
