// Small helps on top of pages that work without them.
"use strict";

const say = (words) => {
  const place = document.getElementById("say");
  if (place) place.textContent = words;
};

// Copy in one tap. The button is hidden where there is no script to make it work.
for (const button of document.querySelectorAll("[data-copy]")) {
  button.hidden = false;
  const words = button.textContent;
  button.addEventListener("click", async () => {
    const field = document.getElementById(button.dataset.copy);
    try {
      await navigator.clipboard.writeText(field.value);
    } catch {
      // Without https there is no clipboard to write to; the old way still works.
      field.select();
      document.execCommand("copy");
      button.focus();
    }
    button.textContent = "Copied";
    say("Copied.");
    setTimeout(() => { button.textContent = words; }, 2500);
  });
}

// What a text message costs, counted by the service as one types.
const later = (wait, task) => {
  let timer;
  return (...given) => { clearTimeout(timer); timer = setTimeout(() => task(...given), wait); };
};
const token = () => document.querySelector("input[name=form]")?.value ?? "";
const post = (path, values) =>
  fetch(path, { method: "POST", body: new URLSearchParams({ ...values, form: token() }) });

for (const field of document.querySelectorAll("[data-segments]")) {
  const place = document.getElementById(field.dataset.segments);
  field.addEventListener("input", later(250, async () => {
    const answer = await post("/segments", { text: field.value });
    if (answer.ok) place.textContent = await answer.text();
  }));
}

// Checks what is typed, and shows what a guest would get.
for (const field of document.querySelectorAll("[data-check]")) {
  const place = document.getElementById(field.dataset.into);
  field.addEventListener("input", later(450, async () => {
    const values = Object.fromEntries(new FormData(field.form));
    place.setAttribute("aria-busy", "true");
    const answer = await post(field.form.action, { ...values, only_check: "live" });
    if (answer.ok) place.innerHTML = await answer.text();
    place.removeAttribute("aria-busy");
  }));
}

// What the host makes of a draft is sent without leaving the draft.
for (const form of document.querySelectorAll("form[data-stay]")) {
  form.addEventListener("submit", async (event) => {
    const button = event.submitter;
    if (!button || button.name === "wrong") return;
    event.preventDefault();
    event.stopImmediatePropagation();
    const values = { ...Object.fromEntries(new FormData(form)), [button.name]: button.value };
    const answer = await post(form.action, values);
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const told = document.createElement("p");
    told.className = answer.ok ? "told" : "problem";
    told.tabIndex = -1;
    told.textContent = page.querySelector(answer.ok ? ".told" : "main p")?.textContent ?? "";
    form.parentElement.querySelector(":scope > .told, :scope > .problem")?.remove();
    form.before(told);
    form.hidden = answer.ok;
    told.focus();
    say(told.textContent);
  });
}

// A form that takes a while says so, and is not sent twice.
for (const form of document.querySelectorAll("form")) {
  form.addEventListener("submit", (event) => {
    if (form.dataset.sent) { event.preventDefault(); return; }
    form.dataset.sent = "yes";
    const button = event.submitter;
    if (button?.dataset.busy) {
      button.setAttribute("aria-busy", "true");
      button.textContent = button.dataset.busy;
    }
  });
}
// The back button shows the page as it was; its forms can be sent again.
addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
});

// A page that waits for something looks again by itself, unless one is at work in it.
for (const place of document.querySelectorAll("[data-again]")) {
  setInterval(async () => {
    const written = [...place.querySelectorAll("textarea")].some((field) => field.value);
    if (document.hidden || written || place.contains(document.activeElement)) return;
    const answer = await fetch(location.href);
    if (!answer.ok) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = place.id && page.getElementById(place.id);
    if (!place.id) { location.reload(); return; }
    if (fresh && fresh.innerHTML !== place.innerHTML) place.innerHTML = fresh.innerHTML;
  }, Number(place.dataset.again) * 1000);
}

// What takes a moment comes after the page; what was ticked meanwhile stays ticked.
for (const place of document.querySelectorAll("[data-load]")) {
  place.setAttribute("aria-busy", "true");
  fetch(place.dataset.load).then(async (answer) => {
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.getElementById(place.id);
    if (answer.ok && fresh && !place.contains(document.activeElement)) {
      for (const box of place.querySelectorAll("input")) {
        const twin = fresh.querySelector(`input[value="${CSS.escape(box.value)}"]`);
        if (twin) twin.toggleAttribute("checked", box.checked);
      }
      place.innerHTML = fresh.innerHTML;
    }
    place.removeAttribute("aria-busy");
  });
}

// After a draft is made, the reader is where it is.
if (location.hash === "#draft" && document.getElementById("full")) {
  document.getElementById("draft").focus({ preventScroll: true });
}
