/* When another market is chosen, what is usual there is put into the fields. */

const usualOf = JSON.parse(document.getElementById("usual-of-markets").textContent);

for (const choice of document.querySelectorAll('[name="market"]')) {
  choice.addEventListener("change", () => {
    for (const [name, value] of Object.entries(usualOf[choice.value] ?? {})) {
      const field = document.querySelector(`[name="${name}"]`);
      if (field.type === "checkbox") field.checked = value;
      else field.value = value;
    }
  });
}
