// The list of lessons works by links alone.

document.documentElement.dataset.ready = "1";
