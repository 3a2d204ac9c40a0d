// A file that the server makes when the button is pressed; what went wrong is said under the button.
export default function (component) {
  const { data, parentElement } = component;
  const button = parentElement.querySelector("button"), said = parentElement.querySelector("p");
  const busy = () => button.getAttribute("aria-disabled") === "true";
  const say = (words) => { said.textContent = words; said.hidden = !words; };
  if (!busy()) button.textContent = data.label;
  button.className = data.main ? "main" : "";
  button.onclick = async () => {
    if (busy()) return;
    button.setAttribute("aria-disabled", "true");
    button.textContent = `${data.label} …`;
    say("");
    try {
      const answer = await fetch(data.path);
      if (answer.status === 401) throw new Error("Not saved: the access code is asked for again; load the page again.");
      if (!answer.ok) throw new Error((await answer.json().catch(() => ({}))).says || "Not saved: the file could not be made; the reason is in the app's log.");
      const made = await answer.blob();
      if (data.share) {
        const file = new File([made], data.file, { type: made.type.split(";")[0] });
        if (navigator.canShare?.({ files: [file] })) {
          try {
            await navigator.share({ files: [file] });
            return;
          } catch (e) {
            if (e.name === "AbortError") return; // the person changed their mind
          } // not allowed here, or too long after the press: saved instead
        }
      }
      const link = document.createElement("a");
      link.href = URL.createObjectURL(made);
      link.download = data.file;
      document.body.append(link);
      link.click();
      link.remove();
      setTimeout(() => URL.revokeObjectURL(link.href), 60000);
    } catch (e) {
      say(e instanceof TypeError ? "Not saved: the app does not answer. Try again." : e.message);
    } finally {
      button.setAttribute("aria-disabled", "false");
      button.textContent = data.label;
    }
  };
}
