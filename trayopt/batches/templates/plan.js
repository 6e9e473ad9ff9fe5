const name = location.pathname.split("/").pop().replace(/\.html$/, ".json");
const link = document.createElement("a");
link.href = name;
link.textContent = "The plan as JSON";
document.getElementById("json").append(link, ".");
