// Reporting a nonconformity: places tapped on the drawing, and photos sent before the form that names them.

import { FaultMarks } from "../tablet/fault_marks.js";
import { reduced } from "../tablet/photo.js";

const form = /** @type {HTMLFormElement} */ (document.querySelector("form.report"));
const names = /** @type {HTMLInputElement} */ (form.elements.namedItem("photos"));
const camera = /** @type {HTMLInputElement} */ (form.querySelector("#photo"));
const said = form.querySelector(".photo-said");

/** @param {File} file */
async function send(file) {
  const { sha256, blob } = await reduced(file);
  const token = /** @type {HTMLInputElement} */ (form.elements.namedItem("csrf_token")).value;
  const headers = { "X-CSRFToken": token, "Content-Type": "image/jpeg" };
  const answer = await fetch(`/photo/${sha256}?person=${form.dataset.person}`, { method: "PUT", headers, body: blob });
  if (!answer.ok) throw new Error(`photo refused: ${answer.status}`);
  names.value = [...new Set([...names.value.split(" ").filter(Boolean), sha256])].join(" ");
}

function showPhotos() {
  const shown = names.value.split(" ").filter(Boolean).map((name) => {
    const item = document.createElement("li");
    item.append(Object.assign(document.createElement("img"), { src: `/photo/${name}`, alt: "", width: 240 }));
    return item;
  });
  form.querySelector(".photos").replaceChildren(...shown);
}

/** @param {File[]} files */
async function sendAll(files) {
  said.textContent = "";
  try {
    for (const file of files) await send(file);
  } catch {
    said.textContent = form.dataset.photoFailed;
  }
  showPhotos();
}

let sent = Promise.resolve();

function taken() {
  const files = [...camera.files];
  camera.value = "";
  sent = sent.then(() => sendAll(files));
}

let isLeaving = false;

/** The form goes once, and after the photos that it names; if one fails meanwhile, it stays. @param {SubmitEvent} event */
async function leave(event) {
  event.preventDefault();
  if (isLeaving) return;
  isLeaving = true;
  const read = said.textContent;
  await sent;
  isLeaving = said.textContent === read;
  if (isLeaving) form.submit();
}

new FaultMarks(form.querySelector(".places"));
camera.addEventListener("change", taken);
form.addEventListener("submit", leave);
addEventListener("pageshow", () => (isLeaving = false));
showPhotos();
document.documentElement.dataset.ready = "";
