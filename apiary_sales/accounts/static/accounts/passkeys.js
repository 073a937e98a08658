/* Ask the browser for a passkey, put its answer into the form, and send that. */

const form = document.querySelector("form[data-passkey]");
const problem = document.querySelector("[data-passkey-problem]");
const canAsk = Boolean(
  window.PublicKeyCredential && PublicKeyCredential.parseRequestOptionsFromJSON,
);

async function answer() {
  const options = JSON.parse(form.dataset.options);
  if (form.dataset.passkey === "add") {
    const publicKey = PublicKeyCredential.parseCreationOptionsFromJSON(options);
    return navigator.credentials.create({ publicKey });
  }
  const publicKey = PublicKeyCredential.parseRequestOptionsFromJSON(options);
  return navigator.credentials.get({ publicKey });
}

async function send(event) {
  event.preventDefault();
  problem.hidden = true;
  try {
    const credential = await answer();
    form.elements.answer.value = JSON.stringify(credential.toJSON());
  } catch {
    // The person said no, waited too long, or has no passkey for this site.
    problem.textContent = form.dataset.refused;
    problem.hidden = false;
    return;
  }
  form.submit();
}

if (canAsk) {
  form.addEventListener("submit", send);
} else {
  problem.textContent = form.dataset.unable;
  problem.hidden = false;
  form.querySelector("button").disabled = true;
}
