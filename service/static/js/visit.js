"use strict";
// The last inch of the visit's page: keeps what is typed, counts waits down, says where a figure stands.
// Without it every form still works as it is.
(() => {
  document.documentElement.classList.add("has-script");

  // --- drafts: a form's fields, sent a moment after the last key -------------------------------------
  const WAIT_MS = 800;
  const timers = new Map();

  const send = (form) => {
    timers.delete(form);
    const page = form.ownerDocument.location.pathname;
    const body = new FormData(form);
    body.delete("sign-pin");
    // A chosen file is no draft: it goes with the form itself.
    form.querySelectorAll("input[type=file]").forEach((field) => body.delete(field.name));
    body.set("section", form.dataset.draft);
    return fetch(`${page.replace(/(visits\/[0-9a-f-]{36}\/).*/, "$1")}draft/`, { method: "POST", body, keepalive: true })
      .catch(() => undefined);
  };
  document.addEventListener("input", (event) => {
    const form = event.target.closest("form[data-draft]");
    if (!form || event.target.type === "password" || event.target.type === "file") return;
    clearTimeout(timers.get(form));
    timers.set(form, setTimeout(() => send(form), WAIT_MS));
  });
  document.addEventListener("submit", (event) => {
    clearTimeout(timers.get(event.target));
    timers.delete(event.target);
  });
  addEventListener("pagehide", () => timers.forEach((timer, form) => { clearTimeout(timer); send(form); }));

  // --- inspection: the note shows with a No ----------------------------------------------------------
  const ask = (question) => {
    const no = question.querySelector("input[value=no]:checked");
    const note = question.querySelector(".note-line input, .note-line textarea");
    const wrong = question.classList.contains("field-wrong");
    question.classList.toggle("asks", Boolean(no || note.value || wrong));
  };
  document.querySelectorAll(".question").forEach((question) => {
    ask(question);
    question.addEventListener("change", () => ask(question));
  });

  // --- waits ------------------------------------------------------------------------------------------
  // The running figure is for the eye; that a wait is over is said aloud, once.
  const over = (line) => {
    if (line.dataset.said) return;
    line.dataset.said = "over";
    document.querySelector("[data-over]").textContent = `Step ${line.dataset.step}: the wait is over.`;
  };
  const count = () => document.querySelectorAll(".wait[data-until]").forEach((line) => {
    const left = Math.ceil((new Date(line.dataset.until) - Date.now()) / 1000);
    const minutes = Math.floor(left / 60);
    if (left <= 0) over(line);
    line.querySelector("[data-left]").textContent = left <= 0 ? ", it is over"
      : left < 60 ? `, ${left} s left` : minutes < 60 ? `, ${minutes} min left` : `, ${Math.floor(minutes / 60)} h ${minutes % 60} min left`;
  });
  if (document.querySelector(".wait[data-until]")) {
    count();
    setInterval(count, 1000);
  }

  // --- readings: tick and words while typing ------------------------------------------------------------
  const SVG = "http://www.w3.org/2000/svg";
  const draw = (input) => {
    const row = input.closest(".reading-row");
    const words = row && row.querySelector("[data-words]");
    if (!words) return;
    const typed = input.value.trim();
    const value = Number(typed.replace(/^[<>]\s*/, "").replace(",", "."));
    const svg = row.querySelector("svg");
    let tick = svg.querySelector("line.value");
    svg.querySelectorAll(".whisker").forEach((line) => line.remove());
    if (typed === "" || Number.isNaN(value)) {
      if (tick) tick.remove();
      words.textContent = typed === "" ? `${words.dataset.words}: not measured` : "This is not a number.";
      return;
    }
    const [from, to] = [Number(words.dataset.lowest), Number(words.dataset.highest)];
    const at = `${Math.min(100, Math.max(0, (value - from) / (to - from) * 100))}%`;
    if (!tick) {
      tick = document.createElementNS(SVG, "line");
      tick.setAttribute("class", "value");
      tick.setAttribute("y1", "6");
      tick.setAttribute("y2", "34");
      svg.append(tick);
    }
    tick.setAttribute("x1", at);
    tick.setAttribute("x2", at);
    const { bandLow, bandHigh } = input.dataset;
    const where = bandHigh !== undefined && value > Number(bandHigh) ? `, above ${bandHigh}`
      : bandLow !== undefined && value < Number(bandLow) ? `, below ${bandLow}`
        : bandLow !== undefined || bandHigh !== undefined ? ", within the guideline" : "";
    words.textContent = `${words.dataset.words} ${typed} ${words.dataset.unit}`.trimEnd() + where;
  };
  document.querySelectorAll(".reading-row [data-words]").forEach((words) => {
    const input = words.closest(".reading-row").querySelector(".stepper input");
    input.setAttribute("aria-describedby", `${input.getAttribute("aria-describedby") || ""} ${words.id}`.trim());
  });
  document.addEventListener("input", (event) => {
    if (event.target.matches(".reading-row .stepper input")) draw(event.target);
  });

  // --- the owner's signature ------------------------------------------------------------------------------
  document.querySelectorAll(".drawn").forEach((box) => {
    const canvas = box.querySelector("canvas");
    const kept = box.closest("form").querySelector("input[name=sign-owner_signature]");
    const pen = canvas.getContext("2d");
    const clear = () => {
      pen.fillStyle = "#fff";
      pen.fillRect(0, 0, canvas.width, canvas.height);
      kept.value = "";
    };
    const at = (event) => {
      const box = canvas.getBoundingClientRect();
      return [(event.clientX - box.left) * canvas.width / box.width, (event.clientY - box.top) * canvas.height / box.height];
    };
    box.hidden = false;
    clear();
    canvas.addEventListener("pointerdown", (event) => {
      canvas.setPointerCapture(event.pointerId);
      pen.lineWidth = 3;
      pen.lineCap = "round";
      pen.strokeStyle = "#000";
      pen.beginPath();
      pen.moveTo(...at(event));
    });
    canvas.addEventListener("pointermove", (event) => {
      if (!canvas.hasPointerCapture(event.pointerId)) return;
      pen.lineTo(...at(event));
      pen.stroke();
    });
    canvas.addEventListener("pointerup", () => { kept.value = canvas.toDataURL("image/png"); });
    box.querySelector("button").addEventListener("click", clear);
  });
})();
