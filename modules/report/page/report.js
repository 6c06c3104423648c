// The page can be read without this. It lets the films of a pair be swiped, flipped and blended.
"use strict";
for (const pair of document.querySelectorAll(".pair")) {
  const stage = pair.querySelector(".stage");
  const slider = pair.querySelector("input[type=range]");
  const button = pair.querySelector("button");
  const shown = pair.querySelector(".shown");
  const titles = [...pair.querySelectorAll(".plate p")].map((p) => p.textContent);
  const modes = ["swipe", "flip", "blend", "both"];
  const chosen = (name) => pair.querySelector(`input[name=${pair.id}-${name}]:checked`).value;
  const show = () => {
    for (const mode of modes) pair.classList.toggle(mode, mode === chosen("mode"));
    for (const svg of pair.querySelectorAll(".plate svg")) svg.setAttribute("viewBox", chosen("area"));
    pair.classList.toggle("near", chosen("area") !== pair.querySelector("[name$=-area]").value);
    pair.classList.toggle("plain", !pair.querySelector(".outlines").checked);
    stage.style.setProperty("--at", `${slider.value}%`);
    shown.textContent = titles[pair.classList.contains("other") ? 1 : 0];
  };
  const flip = () => {
    pair.classList.toggle("other");
    show();
  };
  const swipe = (event) => {
    const box = stage.getBoundingClientRect();
    slider.value = Math.round((100 * (event.clientX - box.left)) / box.width);
    show();
  };
  pair.addEventListener("input", show);
  button.addEventListener("click", flip);
  stage.addEventListener("pointerdown", (event) => {
    if (chosen("mode") === "flip") flip();
    if (chosen("mode") === "swipe") swipe(event);
  });
  stage.addEventListener("pointermove", (event) => {
    if (chosen("mode") === "swipe" && event.buttons === 1) swipe(event);
  });
  pair.querySelector(".controls").hidden = false;
  show();
}
