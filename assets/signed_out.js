/* Says so when the server no longer lets this page in: signed out elsewhere, or the session is too
   old. Without it the page would stand still and say nothing. */
(function () {
  "use strict";
  const ask = window.fetch;

  window.fetch = async function (...request) {
    const answer = await ask.apply(this, request);
    if (answer.url.startsWith(window.location.origin)) {
      if (answer.status === 401) say("You are signed out.", "Sign in again");
      else if (answer.ok) document.getElementById("signed-out")?.remove();
    }
    return answer;
  };

  function say(words, onward) {
    if (document.getElementById("signed-out")) return;
    const banner = document.createElement("div");
    banner.id = "signed-out";
    banner.className = "banner error signed-out";
    banner.setAttribute("role", "alert");
    const link = document.createElement("a");
    link.href = "/sign-in?next=" + encodeURIComponent(location.pathname + location.search);
    link.textContent = onward;
    banner.append(words + " ", link);
    document.body.prepend(banner);
  }
})();
