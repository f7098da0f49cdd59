// Beside each file that is chosen stands a button that takes it out again; one that was refused is taken out by itself.

// Take the file out of a field.
export const takeOut = (field) => {
  field.value = "";
  field.dispatchEvent(new Event("change", { bubbles: true }));
};

// After a refusal: the files of a form that would be refused again are taken out of it.
export const refuseFiles = (form) => {
  for (const field of form.querySelectorAll("input[type=file]")) if (field.files.length) takeOut(field);
};

for (const field of document.querySelectorAll("input[type=file]")) {
  const row = document.createElement("div"), button = document.createElement("button");
  row.className = "row";
  button.type = "button";
  button.className = "btn";
  button.textContent = "Take the file out";
  button.addEventListener("click", () => { takeOut(field); field.focus(); });
  row.append(button);
  (field.closest("label") || field).after(row);
  const show = () => { row.hidden = !field.files.length; };
  for (const when of ["change", "input"]) field.addEventListener(when, show);
  addEventListener("pageshow", show); // a browser that goes back may bring the file along
  show();
}
