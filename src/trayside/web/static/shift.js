// Looking for a plan takes some seconds: say so, and take the button once.
for (const form of document.querySelectorAll("form.long-work")) {
  form.addEventListener("submit", () => {
    form.querySelector(".wait").hidden = false;
    // After the form has been read, or the browser would leave the button's form unsent.
    setTimeout(() => { form.querySelector("button.first").disabled = true; });
  });
}
// A page that the browser kept is shown as it was left: ready for another try.
addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form.long-work")) {
    form.querySelector(".wait").hidden = true;
    form.querySelector("button.first").disabled = false;
  }
});
