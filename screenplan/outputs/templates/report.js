(function () {
  "use strict";
  var choice = document.getElementById("year-choice");
  if (!choice) return;
  var says = document.getElementById("year-says");
  var sentences = JSON.parse(document.getElementById("year-sentences").textContent);
  function show(year) {
    document.querySelectorAll("[data-year]").forEach(function (part) {
      var own = part.getAttribute("data-year") === year;
      if (part.classList.contains("of-year")) part.classList.toggle("hidden", !own);
      else part.classList.toggle("chosen", own);
    });
    says.textContent = sentences[year];
  }
  choice.addEventListener("change", function (event) { show(event.target.value); });
  choice.parentNode.hidden = false;
  show(choice.querySelector("input:checked").value);
})();
