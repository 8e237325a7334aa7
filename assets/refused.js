/* Says so when the server no longer lets this page in (signed out elsewhere, or the session is too
   old), or does not let it do something. Without it the page would stand still and say nothing. */
(function () {
  "use strict";
  const ID = "refused";
  const CALLBACKS = window.location.origin + "/_dash-update-component";
  const ask = window.fetch;

  window.fetch = async function (...request) {
    const answer = await ask.apply(this, request);
    if (answer.url.startsWith(CALLBACKS)) await look(answer);
    return answer;
  };

  async function look(answer) {
    if (answer.status === 401) say("signed-out", "You are signed out.", signInLink());
    else if (answer.status === 413) say("too-large", await reasonOf(answer), closeButton());
    else if (answer.status === 403) say("not-allowed", await reasonOf(answer), closeButton());
    else if (answer.ok) signedInAgain();
  }

  async function reasonOf(answer) {
    const told = await answer.clone().json().catch(() => null);
    const [problem] = told?.problems || [];
    return problem ? `${problem.message} ${problem.fix}` : "You may not do this.";
  }

  function signInLink() {
    const link = document.createElement("a");
    link.href = "/sign-in?next=" + encodeURIComponent(location.pathname + location.search);
    link.textContent = "Sign in again";
    return link;
  }

  function closeButton() {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "button";
    button.textContent = "Close";
    button.addEventListener("click", () => document.getElementById(ID)?.remove());
    return button;
  }

  /* Other callbacks of the page go on being answered, so only this one banner goes by itself. */
  function signedInAgain() {
    const banner = document.getElementById(ID);
    if (banner?.dataset.why === "signed-out") banner.remove();
  }

  function say(why, words, control) {
    const said = document.getElementById(ID);
    if (said?.dataset.why === why && said.dataset.words === words) {
      keep(said, control);
      return;
    }
    said?.remove();
    const banner = document.createElement("div");
    banner.id = ID;
    Object.assign(banner.dataset, { why, words });
    banner.className = "banner error refused";
    banner.setAttribute("role", "alert");
    banner.append(words, " ", control, " ");
    document.body.prepend(banner);
  }

  /* Polls are refused again and again: what says the same already may just be pressed. Only where
     its link leads follows the page's address. */
  function keep(said, { href }) {
    const link = said.querySelector("a");
    if (link && link.href !== href) link.href = href;
  }
})();
