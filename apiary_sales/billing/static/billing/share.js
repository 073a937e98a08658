/* Hands the address of a receipt to whatever the phone can send it with. The button appears only
   where the browser can do that. */

const button = document.querySelector("[data-share]");

async function share() {
  const { title, text, url } = button.dataset;
  try {
    await navigator.share({ title, text, url });
  } catch (error) {
    // The person chose nothing after all.
    if (error.name !== "AbortError") throw error;
  }
}

if (button && navigator.share) {
  button.hidden = false;
  button.addEventListener("click", share);
}
